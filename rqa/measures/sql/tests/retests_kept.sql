-- What became of failed runs of diagnostics, from what is kept: passed again with nothing done in between, or after work.
-- A row is one group, fate and elsewhere, as in retests.sql.
-- Parameters: $unlogged text[]: sites that keep no step log, at which nobody can say what was done in between.
-- Not counted: as in retests.sql.
-- Grouped by: month, job, station, test of d.
-- Merged: sums of runs.
with
-- one row a run that failed or was not the first
runs as (
    select
        cast(date_trunc('month', run_on) as date) as month,
        coalesce(site, 'unknown') as site, coalesce(model, 'unknown') as model,
        coalesce(procedure, 'unknown') as procedure, coalesce(technician, 'unknown') as technician,
        coalesce(billing, 'unknown') as billing, coalesce(station, 'unknown') as station, test,
        run, outcome, fate, elsewhere
    from unclean_runs
),
-- one row a cell of first runs that passed or failed, and a run beyond the first that did
judged as (
    select month, site, model, procedure, technician, billing, station, test, exposures from test_counts
    union all
    select month, site, model, procedure, technician, billing, station, test, 1 from runs where run > 1 and outcome <> 'aborted'
)
select
    /* groups: */ d.test as test, /* :groups */
    '' as fate, false as elsewhere, cast(coalesce(sum(d.exposures), 0) as bigint) as runs
from judged as d
where d.exposures > 0 and /* filters: */ true /* :filters */
group by all
union all
select
    /* groups: */ d.test as test, /* :groups */
    case when list_contains($unlogged::varchar[], d.site) then 'no step log' else d.fate end,
    d.elsewhere, cast(count(*) as bigint)
from runs as d
where d.outcome = 'fail' and /* filters: */ true /* :filters */
group by all order by all
