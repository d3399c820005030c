-- Closed index jobs with what is known, when they are closed, of their chance to come back.
-- A row is one job closed after $since, by its id and unit; and of the jobs closed before, one kind and closing month: site,
-- model, procedure and billing ('unknown' where none is given); failed_check: a first attempt at a step failed; failed_test: a
-- first run of a diagnostic failed; matured and returned as in index_jobs. jobs counts them.
-- Parameters: $since date; $window days; $as_of date; $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out. Technicians are left out on purpose.
select
    case when l.closed_on > $since then l.job_id end as job_id, case when l.closed_on > $since then l.unit_id end as unit_id,
    case when l.closed_on > $since then l.closed_on else cast(date_trunc('month', l.closed_on) as date) end as closed_on,
    coalesce(l.site, 'unknown') as site, coalesce(l.model, 'unknown') as model,
    coalesce(l.procedure, 'unknown') as procedure, coalesce(l.billing, 'unknown') as billing,
    coalesce(l.failed_checks > 0, false) as failed_check, coalesce(l.failed_tests > 0, false) as failed_test,
    date_diff('day', l.closed_on, $as_of) >= $window as matured,
    date_diff('day', l.closed_on, $as_of) >= $window and coalesce(l.elapsed_days <= $window, false) as returned,
    cast(count(*) as bigint) as jobs
from job_logs as l
where l.linked and l.disposition = $disposition and l.closed_on <= $as_of
group by all order by all
