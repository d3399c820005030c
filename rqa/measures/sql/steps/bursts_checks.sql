-- First attempts that were checked, up to the first of a job that failed, by period and one dimension
-- after the other, for a search of bursts.
-- A row is one period, dimension (time, site, model, technician, step, bench, tool, lot; kind: model, procedure, billing and
-- step with chr(31) between them) and name in it (part_no beside it for a lot, else ''). cases: first attempts that passed
-- or failed; events: those that failed; chance: chances of a failure by kind, added up over the attempts, in billionths.
-- Parameters: $as_of date: attempts dated later are left out; $period 'week' or 'month', $dimensions asked for
-- (kind alone, or the others); $kinds and $probabilities: the chance of each kind in billionths (none given: 0);
-- $aside_dimensions, $aside_parts, $aside_names, $aside_periods (first days): attempts of these groups in these periods
-- are set aside.
-- $first_month, $last_month (first days): months looked at; $only_site, $only_model, $only_procedure, $only_technician,
-- $only_billing: lists of those kept, an empty one for all.
-- Not counted: attempts after the first of their job that failed, as failures of one job often come together; attempts
-- without a date or without a job in the store, or without a name in the dimension. An attempt counts once under each lot
-- fitted in its job, so lots overlap and do not add up.
with
-- one row a job with a failed check: the place of the first
first_failed as (
    select job_id, min(step_seq) as step_seq
    from steps
    where attempt = 1 and outcome = 'fail'
    group by job_id
),
-- one row a checked first attempt up to the first of its job that failed
checked as (
    select
        s.job_id, j.site, j.model, coalesce(s.technician, j.technician) as technician, s.step, s.bench, s.tool,
        cast(date_trunc($period, coalesce(s.done_on, j.closed_on, j.opened_on)) as date) as period,
        j.model || chr(31) || j.procedure || chr(31) || coalesce(j.billing, 'unknown') || chr(31) || s.step as kind,
        s.outcome = 'fail' as failed
    from steps as s
    join jobs as j on j.job_id = s.job_id
    left join first_failed as f on f.job_id = s.job_id
    where s.attempt = 1 and s.outcome in ('pass', 'fail') and (f.job_id is null or s.step_seq <= f.step_seq)
      and coalesce(s.done_on, j.closed_on, j.opened_on) <= $as_of
      and date_trunc('month', coalesce(s.done_on, j.closed_on, j.opened_on)) between $first_month and $last_month
      and (len($only_site) = 0 or list_contains($only_site, j.site))
      and (len($only_model) = 0 or list_contains($only_model, j.model))
      and (len($only_procedure) = 0 or list_contains($only_procedure, j.procedure))
      and (len($only_technician) = 0 or list_contains($only_technician, coalesce(s.technician, j.technician, 'unknown')))
      and (len($only_billing) = 0 or list_contains($only_billing, coalesce(j.billing, 'unknown')))
),
-- the same without those set aside, with the chance of their kind
judged as (
    select m.*, coalesce(c.chance, 0) as chance
    from checked as m
    left join kind_chances($kinds, $probabilities) as c on c.kind = m.kind
    anti join set_aside($aside_dimensions, $aside_parts, $aside_names, $aside_periods) as a
        on a.period = m.period and case a.dimension
            when 'time' then true when 'site' then a.name = m.site when 'model' then a.name = m.model
            when 'technician' then a.name = m.technician when 'step' then a.name = m.step
            when 'bench' then a.name = m.bench when 'tool' then a.name = m.tool
        end
    anti join lots_set_aside($aside_dimensions, $aside_parts, $aside_names, $aside_periods) as b
        on b.job_id = m.job_id and b.period = m.period
),
-- one row a job and period
by_job as (
    select
        job_id, period, count(*) as cases, count(*) filter (where failed) as events, sum(chance) as chance
    from judged
    where list_contains($dimensions, 'lot')
    group by all
),
-- one row a period and group, of all dimensions
counted as (
    select
        period,
        ['site', 'model', 'technician', 'step', 'bench', 'tool', 'time'][list_position([
            grouping(site), grouping(model), grouping(technician), grouping(step), grouping(bench), grouping(tool), 0
        ], 0)] as dimension, '' as part_no,
        coalesce(
            site, model, technician, step, bench, tool,
            case when grouping(site) + grouping(model) + grouping(technician) + grouping(step) + grouping(bench) + grouping(tool) = 6 then '' end
        ) as name,
        count(*) as cases, count(*) filter (where failed) as events, sum(chance) as chance
    from judged
    where not list_contains($dimensions, 'kind')
    group by grouping sets (
        (period), (period, site), (period, model), (period, technician), (period, step), (period, bench),
        (period, tool)
    )
    union all
    select period, 'kind', '', kind, count(*), count(*) filter (where failed), sum(chance)
    from judged
    where list_contains($dimensions, 'kind')
    group by all
    union all
    select b.period, 'lot', o.part_no, o.lot, sum(b.cases), sum(b.events), sum(b.chance)
    from by_job as b
    join fitted_lots as o on o.job_id = b.job_id
    group by all
)
select
    dimension, part_no, name, period,
    cast(cases as bigint) as cases, cast(events as bigint) as events, cast(chance as bigint) as chance
from counted
where name is not null and list_contains($dimensions, dimension)
order by all
