-- Marks of come-backs that say where to look, from what is kept of each job: nothing found, the same part fitted again, passed
-- the tests that should have caught it.
-- A row is one group, as in comeback_marks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: as in comeback_marks.sql.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'.
with
-- one row a subsystem that some test covers: which do
covered as (
    select subsystem, list(test) as tests from tests group by subsystem
),
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
-- the same with whether the index job was tested where a fault is known, and whether by a test that covers it
tested as (
    select
        k.*,
        k.found is not null and (k.tests is not null or k.later_tests is not null) as is_tested,
        coalesce(list_has_any(string_split(concat_ws(chr(31), k.tests, k.later_tests), chr(31)), c.tests), false) as is_covered
    from kinds as k
    left join covered as c on c.subsystem = k.found
)
select
    /* names: */ model, /* :names */
    cast(coalesce(sum(x.jobs), 0) as bigint) as returned,
    cast(coalesce(sum(x.jobs) filter (where x.class <> 'unknown'), 0) as bigint) as fault_known,
    cast(coalesce(sum(x.jobs) filter (where x.class = 'no_fault_found'), 0) as bigint) as no_fault_found,
    cast(coalesce(sum(x.jobs) filter (where x.fitted), 0) as bigint) as with_part,
    cast(coalesce(sum(x.jobs) filter (where x.refitted), 0) as bigint) as same_part,
    cast(coalesce(sum(x.jobs) filter (where x.is_tested), 0) as bigint) as tested,
    cast(coalesce(sum(x.jobs) filter (where x.is_tested and x.passed and x.is_covered), 0) as bigint) as escaped
from tested as x
group by all order by all
