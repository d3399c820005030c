-- What a store holds for statements to rest on, from what is kept: 1 where there is such a row, else 0.
-- A row is the store. The columns that end in _there look at jobs closed (opened_there: opened) from $first_on to
-- $last_on alone, and of the jobs named only.
-- Parameters: $as_of date, jobs closed later are left out; $window days of follow-up; $first_on and $last_on dates;
-- $only_site, $only_model, $only_procedure, $only_technician, $only_billing: lists of what is kept, all where empty.
-- Not counted: how many rows there are.
-- Merged: any of closed_there, opened_there, logged_there, tested_there, isolation_there in found_there, then the rest.
with
-- one row: what the jobs and their logs hold, and on how many months
held as (
    select
        coalesce(bool_or(what = 'jobs'), false) as jobs,
        coalesce(bool_or(what = 'repeat_units'), false) as repeat_units,
        coalesce(bool_or(what = 'found'), false) as found,
        coalesce(bool_or(what = 'complaint'), false) as complaint,
        coalesce(bool_or(what = 'billing'), false) as billing,
        coalesce(bool_or(what = 'labour_minutes'), false) as labour_minutes,
        coalesce(bool_or(what = 'parts_cost'), false) as parts_cost,
        coalesce(bool_or(what = 'freight_cost'), false) as freight_cost,
        coalesce(bool_or(what = 'technician'), false) as technician,
        coalesce(bool_or(what = 'steps'), false) as steps,
        coalesce(bool_or(what = 'checks'), false) as checks,
        coalesce(bool_or(what = 'bench'), false) as bench,
        coalesce(bool_or(what = 'tool'), false) as tool,
        coalesce(bool_or(what = 'step_times'), false) as step_times,
        coalesce(bool_or(what = 'fault'), false) as fault,
        coalesce(bool_or(what = 'step_values'), false) as step_values,
        coalesce(bool_or(what = 'diagnostics'), false) as diagnostics,
        coalesce(bool_or(what = 'station'), false) as station,
        coalesce(bool_or(what = 'test_values'), false) as test_values,
        coalesce(bool_or(what = 'test_limits'), false) as test_limits,
        count(*) filter (where what = 'checks_of_month' and last_day(month) <= $as_of) as months_of_checks,
        count(*) filter (where what = 'clean_of_month' and last_day(month) <= $as_of) as months_of_clean
    from held_rows
),
-- one row: what the other tables hold
held_beside as (
    select
        coalesce(bool_or(what = 'parts'), false) as parts,
        coalesce(bool_or(what = 'lot'), false) as lot,
        coalesce(bool_or(what = 'procedures'), false) as procedures,
        coalesce(bool_or(what = 'described_jobs'), false) as described_jobs,
        coalesce(bool_or(what = 'subsystems'), false) as subsystems,
        coalesce(bool_or(what = 'isolation'), false) as isolation,
        coalesce(bool_or(what = 'tests'), false) as tests,
        coalesce(bool_or(what = 'covered_tests'), false) as covered_tests,
        coalesce(bool_or(what = 'pairings'), false) as pairings,
        coalesce(bool_or(what = 'retirements'), false) as retirements,
        coalesce(bool_or(what = 'actions'), false) as actions,
        coalesce(bool_or(what = 'targets'), false) as targets,
        coalesce(bool_or(what = 'studies'), false) as studies
    from held_beside_logs
),
-- one row: the index jobs of repairs that were closed by the day, and the months whose come-backs are final
repaired as (
    select
        count(*) > 0 as closed_jobs,
        coalesce(bool_or(closed_on + $window <= $as_of), false) as matured_jobs,
        count(distinct date_trunc('month', closed_on)) filter (where last_day(closed_on) + $window <= $as_of) as months
    from site_days
    where closed_on <= $as_of
),
-- one row a job of those named
asked as not materialized (
    select procedure, disposition, opened_on, closed_on, logged, tests, later_tests
    from job_logs
    where
        (len($only_site) = 0 or list_contains($only_site, coalesce(site, 'unknown')))
        and (len($only_model) = 0 or list_contains($only_model, coalesce(model, 'unknown')))
        and (len($only_procedure) = 0 or list_contains($only_procedure, coalesce(procedure, 'unknown')))
        and (len($only_technician) = 0 or list_contains($only_technician, coalesce(technician, 'unknown')))
        and (len($only_billing) = 0 or list_contains($only_billing, coalesce(billing, 'unknown')))
),
-- one row a job that was closed in the days asked for
scoped as not materialized (
    select procedure, logged, tests, later_tests
    from asked
    where disposition <> 'open' and closed_on <= $as_of and closed_on between $first_on and $last_on
),
-- one row: what there is of the jobs asked for
found_there as (
    select
        exists (select 1 from scoped) as closed_there,
        exists (select 1 from asked where opened_on between $first_on and least($last_on, $as_of)) as opened_there,
        exists (select 1 from scoped where logged) as logged_there,
        exists (select 1 from scoped where tests is not null or later_tests is not null) as tested_there,
        exists (
            select 1
            from scoped
            where logged and procedure in (select name from held_beside_logs where what = 'isolation')
        ) as isolation_there
)
select
    cast(h.jobs as bigint) as jobs,
    cast(r.closed_jobs as bigint) as closed_jobs,
    cast(r.matured_jobs as bigint) as matured_jobs,
    cast(h.repeat_units as bigint) as repeat_units,
    cast(h.found as bigint) as found,
    cast(h.complaint as bigint) as complaint,
    cast(h.billing as bigint) as billing,
    cast(h.labour_minutes as bigint) as labour_minutes,
    cast(h.parts_cost as bigint) as parts_cost,
    cast(h.freight_cost as bigint) as freight_cost,
    cast(h.technician as bigint) as technician,
    cast(h.steps as bigint) as steps,
    cast(h.checks as bigint) as checks,
    cast(h.bench as bigint) as bench,
    cast(h.tool as bigint) as tool,
    cast(h.step_times as bigint) as step_times,
    cast(h.fault as bigint) as fault,
    cast(h.step_values as bigint) as step_values,
    cast(h.diagnostics as bigint) as diagnostics,
    cast(h.station as bigint) as station,
    cast(h.test_values as bigint) as test_values,
    cast(h.test_limits as bigint) as test_limits,
    cast(h.steps or h.diagnostics as bigint) as logs,
    cast(b.parts as bigint) as parts,
    cast(b.lot as bigint) as lot,
    cast(b.procedures as bigint) as procedures,
    cast(b.described_jobs as bigint) as described_jobs,
    cast(b.subsystems as bigint) as subsystems,
    cast(b.isolation as bigint) as isolation,
    cast(b.tests as bigint) as tests,
    cast(b.covered_tests as bigint) as covered_tests,
    cast(b.pairings as bigint) as pairings,
    cast(b.retirements as bigint) as retirements,
    cast(b.actions as bigint) as actions,
    cast(b.targets as bigint) as targets,
    cast(b.studies as bigint) as studies,
    cast(r.months > 0 as bigint) as final_comebacks,
    cast(r.months > 1 as bigint) as earlier_comebacks,
    cast(h.months_of_checks > 0 as bigint) as final_checks,
    cast(h.months_of_checks > 1 as bigint) as earlier_checks,
    cast(h.months_of_clean > 0 as bigint) as final_clean,
    cast(h.months_of_clean > 1 as bigint) as earlier_clean,
    cast(t.closed_there as bigint) as closed_there,
    cast(t.opened_there as bigint) as opened_there,
    cast(t.logged_there as bigint) as logged_there,
    cast(t.tested_there as bigint) as tested_there,
    cast(t.isolation_there as bigint) as isolation_there
from held as h, held_beside as b, repaired as r, found_there as t
