-- How the tests of jobs ended, from the kept counts of first runs and the tests that were not clean.
-- A row is one group, as in diagnostic_outcomes.sql.
-- Parameters: none; no run may be left out. Not counted: as in diagnostic_outcomes.sql.
-- Grouped by: month, job, station, test of d.
with
-- one row a cell of first runs, as if none had been run again; and a test that was not clean, with what that changes
ways as (
    select
        month, site, model, procedure, technician, billing, station, test,
        exposures + aborted as tests, exposures as first_judged, passed as first_passed, passed as final_passed,
        exposures + aborted as runs, aborted
    from test_counts
    union all
    select
        cast(date_trunc('month', first_on) as date), coalesce(site, 'unknown'), coalesce(model, 'unknown'),
        coalesce(procedure, 'unknown'), coalesce(technician, 'unknown'), coalesce(billing, 'unknown'),
        coalesce(first_station, 'unknown'), test,
        0, 0, 0, cast(last_outcome = 'pass' as integer) - cast(first_outcome = 'pass' as integer), further, further_aborted
    from unclean_tests
    where first_outcome is not null
)
select
    /* groups: */ d.test as test, /* :groups */
    cast(coalesce(sum(d.tests), 0) as bigint) as tests,
    cast(coalesce(sum(d.first_judged), 0) as bigint) as first_judged,
    cast(coalesce(sum(d.first_passed), 0) as bigint) as first_passed,
    cast(coalesce(sum(d.final_passed), 0) as bigint) as final_passed,
    cast(coalesce(sum(d.runs), 0) as bigint) as runs,
    cast(coalesce(sum(d.aborted), 0) as bigint) as aborted
from ways as d
where /* filters: */ true /* :filters */
group by all order by all
