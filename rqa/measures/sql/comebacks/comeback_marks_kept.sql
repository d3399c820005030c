-- Marks of come-backs that say where to look, from what is kept of each job: nothing found, the same part fitted again, passed
-- the tests that should have caught it.
-- A row is one group, as in comeback_marks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: as in comeback_marks.sql.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'.
with
-- one row a kind of come-back
kinds as (
    select
        /* groups: */ coalesce(l.model, 'unknown') as model, /* :groups */
        l.class, l.fault_found as found, l.tests, l.later_tests, not (l.failed or l.aborted) as passed, l.fitted, l.refitted,
        count(*) as jobs
    from job_logs as l
    where l.linked and l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window
      and l.elapsed_days <= $window and /* filters: */ true /* :filters */
    group by all
),
-- the same, numbered, and whether the index job was tested where a fault is known
numbered as (
    select
        *, row_number() over () as place,
        found is not null and (tests is not null or later_tests is not null) as is_tested
    from kinds
),
-- one row such a kind of which a test was run that covers what was found
covering as (
    select distinct d.place
    from (
        select place, found, unnest(string_split(concat_ws(chr(31), tests, later_tests), chr(31))) as test from numbered
    ) as d
    join tests as t on t.test = d.test and t.subsystem = d.found
)
select
    /* names: */ model, /* :names */
    cast(coalesce(sum(x.jobs), 0) as bigint) as returned,
    cast(coalesce(sum(x.jobs) filter (where x.class <> 'unknown'), 0) as bigint) as fault_known,
    cast(coalesce(sum(x.jobs) filter (where x.class = 'no_fault_found'), 0) as bigint) as no_fault_found,
    cast(coalesce(sum(x.jobs) filter (where x.fitted), 0) as bigint) as with_part,
    cast(coalesce(sum(x.jobs) filter (where x.refitted), 0) as bigint) as same_part,
    cast(coalesce(sum(x.jobs) filter (where x.is_tested), 0) as bigint) as tested,
    cast(coalesce(sum(x.jobs) filter (where x.is_tested and x.passed and c.place is not null), 0) as bigint) as escaped
from numbered as x
left join covering as c on c.place = x.place
group by all
order by all
