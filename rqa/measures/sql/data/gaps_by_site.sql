-- What a site's logs lack, job by job.
-- A row is one job and gap: what, job_id, unit_id, opened_on, closed_on.
-- Parameters: $as_of date.
-- Not counted: repairs without a log where the site has no row of such a log at all.
-- Merged: any of steps, tests in logs, then logs given back.
with
-- one row a site: whether any of its jobs has a log of the kind
logs as (
    select coalesce(site, 'unknown') as site, bool_or(logged) as steps, bool_or(tests is not null or later_tests is not null) as tests
    from job_logs
    group by all
),
-- one row a job, with what its site logs
told as (
    select coalesce(j.site, 'unknown') as at_site, j.*, g.steps, coalesce(g.tests, false) as tested
    from job_logs as j
    join logs as g on g.site = coalesce(j.site, 'unknown')
)
select at_site as site, gap.what as what, job_id, unit_id, opened_on, closed_on
from told, unnest([
    {'what': 'closed repair without a step log',
     'there': steps and not logged and disposition = 'repaired' and closed_on <= $as_of},
    {'what': 'closed repair without diagnostics',
     'there': tested and tests is null and later_tests is null and disposition = 'repaired' and closed_on <= $as_of},
    {'what': 'job open for more than 90 days', 'there': disposition = 'open' and date_diff('day', opened_on, $as_of) > 90},
    {'what': 'return without a confirmed fault', 'there': class = 'unknown'}
]) as gaps(gap)
where gap.there
order by all
