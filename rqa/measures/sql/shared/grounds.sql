-- What a store holds for statements to rest on: 1 where there is such a row, else 0.
-- A row is the store. The columns that end in _there look at jobs closed (opened_there: opened) from $first_on to
-- $last_on alone, and of the jobs named only.
-- Parameters: $as_of date, jobs closed later are left out; $window days of follow-up; $first_on and $last_on dates;
-- $only_site, $only_model, $only_procedure, $only_technician, $only_billing: lists of what is kept, all where empty.
-- Not counted: how many rows there are.
with
-- one row a job of those named
asked as (
    select job_id, procedure, disposition, opened_on, closed_on
    from jobs
    where
        (len($only_site) = 0 or list_contains($only_site, coalesce(site, 'unknown')))
        and (len($only_model) = 0 or list_contains($only_model, coalesce(model, 'unknown')))
        and (len($only_procedure) = 0 or list_contains($only_procedure, coalesce(procedure, 'unknown')))
        and (len($only_technician) = 0 or list_contains($only_technician, coalesce(technician, 'unknown')))
        and (len($only_billing) = 0 or list_contains($only_billing, coalesce(billing, 'unknown')))
),
-- one row a job that was closed in the days asked for
scoped as (
    select job_id, procedure
    from asked
    where disposition <> 'open' and closed_on <= $as_of and closed_on between $first_on and $last_on
),
-- one row an index job of a repair that was closed by the day
repaired as (
    select closed_on, closed_month
    from links
    where disposition = 'repaired' and closed_on <= $as_of
),
-- one row a procedure that says when the battery is isolated
isolating as (
    select procedure from procedure_plan where isolates group by procedure
),
-- one row a month whose come-backs are final
final_comebacks as (
    select closed_month as month from repaired where last_day(closed_month) + $window <= $as_of group by closed_month
),
-- one row a month that is over, with checked first attempts at steps
final_checks as (
    select month from step_counts where exposures > 0 and last_day(month) <= $as_of group by month
),
-- one row a month that is over, with checked jobs
final_clean as (
    select month from clean_counts where jobs > 0 and last_day(month) <= $as_of group by month
)
select
    cast(exists (select 1 from jobs) as bigint) as jobs,
    cast(exists (select 1 from repaired) as bigint) as closed_jobs,
    cast(exists (select 1 from repaired where closed_on + $window <= $as_of) as bigint) as matured_jobs,
    cast(exists (select 1 from jobs where disposition <> 'cancelled' group by unit_id having count(*) > 1) as bigint)
        as repeat_units,
    cast(exists (select 1 from jobs where found is not null) as bigint) as found,
    cast(exists (select 1 from jobs where complaint is not null) as bigint) as complaint,
    cast(exists (select 1 from jobs where billing is not null) as bigint) as billing,
    cast(exists (select 1 from jobs where labour_minutes is not null) as bigint) as labour_minutes,
    cast(exists (select 1 from jobs where parts_cost is not null) as bigint) as parts_cost,
    cast(exists (select 1 from jobs where freight_cost is not null) as bigint) as freight_cost,
    cast(
        exists (select 1 from jobs where technician is not null)
        or exists (select 1 from steps where technician is not null) as bigint
    ) as technician,
    cast(exists (select 1 from steps) as bigint) as steps,
    cast(exists (select 1 from steps where outcome in ('pass', 'fail')) as bigint) as checks,
    cast(exists (select 1 from steps where bench is not null) as bigint) as bench,
    cast(exists (select 1 from steps where tool is not null) as bigint) as tool,
    cast(exists (select 1 from steps where started_at is not null or ended_at is not null) as bigint) as step_times,
    cast(exists (select 1 from steps where fault is not null) as bigint) as fault,
    cast(exists (select 1 from steps where value is not null) as bigint) as step_values,
    cast(exists (select 1 from diagnostics) as bigint) as diagnostics,
    cast(exists (select 1 from diagnostics where station is not null) as bigint) as station,
    cast(exists (select 1 from diagnostics where value is not null) as bigint) as test_values,
    cast(exists (select 1 from diagnostics where lower_limit is not null or upper_limit is not null) as bigint)
        as test_limits,
    cast(exists (select 1 from steps) or exists (select 1 from diagnostics) as bigint) as logs,
    cast(exists (select 1 from parts) as bigint) as parts,
    cast(exists (select 1 from parts where lot is not null) as bigint) as lot,
    cast(exists (select 1 from procedures) as bigint) as procedures,
    cast(exists (select 1 from procedures join jobs on jobs.procedure = procedures.procedure) as bigint)
        as described_jobs,
    cast(exists (select 1 from procedures where len(subsystems) > 0) as bigint) as subsystems,
    cast(exists (select 1 from isolating) as bigint) as isolation,
    cast(exists (select 1 from tests) as bigint) as tests,
    cast(exists (select 1 from tests join diagnostics on diagnostics.test = tests.test) as bigint) as covered_tests,
    cast(exists (select 1 from pairings) as bigint) as pairings,
    cast(exists (select 1 from retirements) as bigint) as retirements,
    cast(exists (select 1 from actions) as bigint) as actions,
    cast(exists (select 1 from targets) as bigint) as targets,
    cast(exists (select 1 from studies) as bigint) as studies,
    cast((select count(*) from final_comebacks) > 0 as bigint) as final_comebacks,
    cast((select count(*) from final_comebacks) > 1 as bigint) as earlier_comebacks,
    cast((select count(*) from final_checks) > 0 as bigint) as final_checks,
    cast((select count(*) from final_checks) > 1 as bigint) as earlier_checks,
    cast((select count(*) from final_clean) > 0 as bigint) as final_clean,
    cast((select count(*) from final_clean) > 1 as bigint) as earlier_clean,
    cast(exists (select 1 from scoped) as bigint) as closed_there,
    cast(exists (select 1 from asked where opened_on between $first_on and least($last_on, $as_of)) as bigint)
        as opened_there,
    cast(exists (select 1 from steps join scoped on scoped.job_id = steps.job_id) as bigint) as logged_there,
    cast(exists (select 1 from diagnostics join scoped on scoped.job_id = diagnostics.job_id) as bigint)
        as tested_there,
    cast(
        exists (
            select 1
            from steps
            join scoped on scoped.job_id = steps.job_id
            join isolating on isolating.procedure = scoped.procedure
        ) as bigint
    ) as isolation_there
