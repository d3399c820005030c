-- Repaired jobs closed by a day, with a step dated later, whose step log until that day departs from their procedure.
-- A row is as in conformance.sql, of these jobs alone: what stands in their log until the day is counted from its rows.
-- Parameters: $window days, $as_of date: jobs closed later and steps dated later are left out.
-- Not counted: jobs without a later step, and what conformance.sql leaves out.
-- Grouped by: month, week of day j.closed_on; site, model, procedure, billing of j or 'unknown';
--   technician as coalesce(j.job_technician, 'unknown'); bench as case when j.first_bench = j.last_bench
--   then j.first_bench when j.first_bench is null then 'unknown' else 'several' end.
with
-- one row a repaired job, as its log stood on the day
as_logged as (
    select
        t.job_id, t.site, t.model, t.procedure, t.job_technician, t.billing, t.closed_on, t.linked, t.elapsed_days,
        coalesce(bool_or(r.phase is not null), false) as judged,
        case when bool_or(r.phase is not null) then min(o.bench) end as first_bench,
        case when bool_or(r.phase is not null) then max(o.bench) end as last_bench
    from job_turns as t
    left join job_turns as o on o.job_id = t.job_id and coalesce(o.done_on <= $as_of, true)
    left join record_steps as r on r.record = o.record
    where t.turn = 1 and t.disposition = 'repaired' and t.closed_on <= $as_of and t.settled_on > $as_of
    group by all
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
        count(*) filter (where j.linked and date_diff('day', j.closed_on, $as_of) >= $window) as matured,
        count(*) filter (
            where j.linked and date_diff('day', j.closed_on, $as_of) >= $window and j.elapsed_days <= $window
        ) as returned
    from as_logged as j
    where /* filters: */ true /* :filters */
    group by all
),
-- one row a job whose log runs on after the day, kind and step
unsettled as (
    select *, kind not in ('paired', 'isolated_late', 'reconnected_early') as averaged
    from breaches_by_rows($as_of, $as_of)
),
-- one row a job, kind and step
breaches as (
    select
        b.kind, b.step,
        row_number() over (partition by b.job_id, b.kind order by b.step) = 1 as first_of_kind,
        b.averaged and row_number() over (partition by b.job_id, b.averaged, b.step order by b.kind) = 1 as first_of_step,
        b.averaged and row_number() over (partition by b.job_id, b.averaged order by b.kind, b.step) = 1 as first_of_job,
        a.site, a.model, a.procedure, a.job_technician, a.billing, a.closed_on, a.linked, a.elapsed_days,
        a.first_bench, a.last_bench
    from unsettled as b
    join as_logged as a on a.job_id = b.job_id
),
-- one row a group, procedure, model, kind, step and place among the breaches of a job
broken as (
    select
        /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
        j.procedure as of_procedure,
        j.model as of_model,
        j.kind as of_kind, j.step as at_step, j.first_of_kind, j.first_of_step, j.first_of_job,
        count(*) as jobs,
        count(*) filter (where j.linked and date_diff('day', j.closed_on, $as_of) >= $window) as matured,
        count(*) filter (
            where j.linked and date_diff('day', j.closed_on, $as_of) >= $window and j.elapsed_days <= $window
        ) as returned
    from breaches as j
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
group by all
order by all
