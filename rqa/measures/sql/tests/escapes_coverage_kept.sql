-- Come-backs by what was found at fault, and why no test had caught it, from what is kept of each job.
-- A row is one group, subsystem found on return and way, as in escapes_coverage.sql.
-- Parameters: $window days, $as_of date: no later run may be in the store; $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'.
with
-- one row a kind of come-back
kinds as (
    select
        /* groups: */ coalesce(l.model, 'unknown') as model, /* :groups */
        l.fault_found as found, l.tests, l.later_tests, not (l.failed or l.aborted) as passed, count(*) as jobs
    from job_logs as l
    where l.linked and l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window
      and l.elapsed_days <= $window and /* filters: */ true /* :filters */
    group by all
),
-- the same, numbered
numbered as (
    select *, row_number() over () as place from kinds
),
-- one row such a kind of which a test was run that covers what was found
covering as (
    select distinct d.place
    from (
        select place, found, unnest(string_split(concat_ws(chr(31), tests, later_tests), chr(31))) as test from numbered
    ) as d
    join tests as t on t.test = d.test and t.subsystem = d.found
),
-- one row a subsystem that some test covers
covered as (
    select distinct subsystem
    from tests
)
select
    /* names: */ model, /* :names */
    coalesce(x.found, '') as subsystem,
    case
        when x.found is null then 'not known'
        when c.subsystem is null then 'no test covers it'
        when r.place is null then 'not run'
        when not x.passed then 'not passed'
        else 'escaped'
    end as way,
    cast(sum(x.jobs) as bigint) as returned
from numbered as x
left join covering as r on r.place = x.place
left join covered as c on c.subsystem = x.found
group by all
order by all
