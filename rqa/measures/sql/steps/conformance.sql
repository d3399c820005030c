-- Repaired jobs whose step log departs from their procedure, by kind of breach and step, and what became of them.
-- A row is one group, procedure (of_procedure), model (of_model), kind and step. jobs could have had the breach, breached
-- did; matured, returned are index jobs closed $window days before $as_of or earlier and those of them that came back;
-- breached_matured, breached_returned the same of the breached. A job counts once in each row; step '' means any step,
-- kind '' any kind but the two of the battery's order, which are not averaged. Kinds: 'missing', 'skipped', 'left_failed',
-- 'count_not_done', 'unequal_connectors', 'out_of_order', 'check_before_tightening', 'irreversible_before_hold', 'pairing',
-- and of the battery's order 'isolated_late', 'reconnected_early'; counted
-- beside: 'no_procedure' (the reference has no such procedure), 'no_log' (no step of it was logged).
-- Parameters: $window days, $as_of date: jobs closed later and steps dated later are left out; $later, the same date again,
-- given only where jobs closed by then have a step dated later: their logs are read anew.
-- Not counted: jobs that are not repaired; those with a step dated later where $later is not given.
-- A step that a procedure names twice stands at its first place. Done means passed
-- or done without a check. Order is by the clock, where a time is missing or times are equal by place in the job.
-- Grouped by: month, week of day j.closed_on; site, model, procedure, billing of j or 'unknown';
--   technician as coalesce(j.job_technician, 'unknown'); bench as case when j.first_bench = j.last_bench
--   then j.first_bench when j.first_bench is null then 'unknown' else 'several' end.
with
-- one row a repaired job
closed as (
    select
        job_id, site, model, procedure, job_technician, billing, closed_on, linked, elapsed_days, judged, first_bench,
        last_bench
    from job_turns
    where turn = 1 and disposition = 'repaired' and closed_on <= $as_of and coalesce(settled_on <= $as_of, true)
    /* given later: */
    union all
    select
        job_id, site, model, procedure, job_technician, billing, closed_on, linked, elapsed_days, judged, first_bench,
        last_bench
    from jobs_cut_off($later)
    /* :given later */
),
-- one row a job, kind and step
breaches as (
    select
        job_id, kind, step, first_of_kind, first_of_step, first_of_job,
        site, model, procedure, job_technician, billing, closed_on, linked, elapsed_days, first_bench, last_bench
    from job_breaches
    where closed_on <= $as_of and coalesce(settled_on <= $as_of, true)
    /* given later: */
    union all
    select
        job_id, kind, step, first_of_kind, first_of_step, first_of_job,
        site, model, procedure, job_technician, billing, closed_on, linked, elapsed_days, first_bench, last_bench
    from breaches_cut_off($later)
    /* :given later */
),
-- one row a group, procedure and model, and whether its jobs can be judged
base as (
    select
        /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
        j.procedure as of_procedure,
        j.model as of_model,
        case
            when j.judged then ''
            when j.procedure in (select procedure from procedures) then 'no_log'
            else 'no_procedure'
        end as beside,
        count(*) as jobs,
        count(*) filter (where j.mature) as matured,
        count(*) filter (where j.mature and j.elapsed_days <= $window) as returned
    from (select *, linked and date_diff('day', closed_on, $as_of) >= $window as mature from closed) as j
    where /* filters: */ true /* :filters */
    group by all
),
-- one row a group, procedure, model, kind, step and place among the breaches of a job
broken as (
    select
        /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
        j.procedure as of_procedure,
        j.model as of_model,
        j.kind as of_kind, j.step as at_step, j.first_of_kind, j.first_of_step, j.first_of_job,
        count(*) as jobs,
        count(*) filter (where j.mature) as matured,
        count(*) filter (where j.mature and j.elapsed_days <= $window) as returned
    from (select *, linked and date_diff('day', closed_on, $as_of) >= $window as mature from breaches) as j
    where /* filters: */ true /* :filters */
    group by all
),
-- one row a group and what its jobs could break, then those that did
cells as (
    select
        /* names: */ site, /* :names */ b.of_procedure, b.of_model, p.kind, p.step, b.jobs, b.matured, b.returned,
        0 as breached, 0 as breached_matured, 0 as breached_returned
    from base as b
    join (select procedure as followed, kind, step from possible_breaches) as p on p.followed = b.of_procedure
    where b.beside = ''
    union all
    select
        /* names: */ site, /* :names */ of_procedure, of_model, beside as kind, '' as step, jobs, matured, returned,
        0 as breached, 0 as breached_matured, 0 as breached_returned
    from base
    where beside <> ''
    union all
    select
        /* names: */ site, /* :names */ of_procedure, of_model, 'pairing' as kind, '' as step, jobs, matured, returned,
        0 as breached, 0 as breached_matured, 0 as breached_returned
    from broken
    where of_kind = 'paired'
    union all
    select
        /* names: */ site, /* :names */ of_procedure, of_model, kind, step,
        0 as jobs, 0 as matured, 0 as returned, jobs as breached, matured as breached_matured, returned as breached_returned
    from (
        select *, of_kind as kind, at_step as step from broken where at_step <> ''
        union all
        select *, of_kind as kind, '' as step from broken where first_of_kind
        union all
        select *, '' as kind, at_step as step from broken where first_of_step and at_step <> ''
        union all
        select *, '' as kind, '' as step from broken where first_of_job
    ) as counted
    where of_kind <> 'paired'
)
select
    /* names: */ site, /* :names */ of_procedure, of_model, kind, step,
    cast(sum(jobs) as bigint) as jobs,
    cast(sum(matured) as bigint) as matured,
    cast(sum(returned) as bigint) as returned,
    cast(sum(breached) as bigint) as breached,
    cast(sum(breached_matured) as bigint) as breached_matured,
    cast(sum(breached_returned) as bigint) as breached_returned
from cells
group by all order by all
