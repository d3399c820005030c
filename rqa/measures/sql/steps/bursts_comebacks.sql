-- Matured jobs and their come-backs by period of closing and one dimension after the other, for a search of bursts.
-- A row is one period, dimension (time, site, model, technician, bench, tool, lot; kind: model, procedure and billing with
-- chr(31) between them) and name in it (part_no beside it for a lot, else ''). cases: repaired jobs closed in that period
-- and at least $window days before $as_of; events: those back within $window days, their come-back of one of $classes;
-- chance: chances of a come-back by kind, added up over the jobs, in billionths.
-- Parameters: $window days, $as_of date, $classes of come-backs, $period 'week' or 'month', $dimensions asked for
-- (kind alone, or the others); $kinds and $probabilities: the chance of each kind in billionths (none given: 0);
-- $aside_dimensions, $aside_parts, $aside_names, $aside_periods (first days): jobs of these groups closed in these periods
-- are set aside.
-- $first_month, $last_month (first days): months looked at; $only_site, $only_model, $only_procedure, $only_technician,
-- $only_billing: lists of those kept, an empty one for all.
-- Not counted: jobs without a name in the dimension. A job counts once under each bench, tool and lot it names, so groups
-- of these overlap and do not add up.
with
-- one row a group and period to be set aside
aside as (
    select * from set_aside($aside_dimensions, $aside_parts, $aside_names, $aside_periods)
),
-- one row a job and period in which it is set aside, if it was closed in it
aside_by_logs as (
    select distinct s.job_id, a.period
    from steps as s
    join aside as a on (a.dimension = 'bench' and a.name = s.bench) or (a.dimension = 'tool' and a.name = s.tool)
    union
    select job_id, period from lots_set_aside($aside_dimensions, $aside_parts, $aside_names, $aside_periods)
),
-- one row a matured job
matured as (
    select
        l.job_id, l.site, l.model, l.technician, cast(date_trunc($period, l.closed_on) as date) as period,
        l.model || chr(31) || l.procedure || chr(31) || coalesce(l.billing, 'unknown') as kind,
        l.returned and list_contains($classes, l.class) as returned
    from matured_jobs($as_of, $window, 'repaired') as l
    where date_trunc('month', l.closed_on) between $first_month and $last_month
      and (len($only_site) = 0 or list_contains($only_site, l.site))
      and (len($only_model) = 0 or list_contains($only_model, l.model))
      and (len($only_procedure) = 0 or list_contains($only_procedure, l.procedure))
      and (len($only_technician) = 0 or list_contains($only_technician, coalesce(l.technician, 'unknown')))
      and (len($only_billing) = 0 or list_contains($only_billing, coalesce(l.billing, 'unknown')))
),
-- the same without those set aside, with the chance of their kind
judged as (
    select m.*, coalesce(c.chance, 0) as chance
    from matured as m
    left join kind_chances($kinds, $probabilities) as c on c.kind = m.kind
    anti join aside as a on a.period = m.period and case a.dimension
        when 'time' then true when 'site' then a.name = m.site when 'model' then a.name = m.model
        when 'technician' then a.name = m.technician
    end
    anti join aside_by_logs as b on b.job_id = m.job_id and b.period = m.period
),
-- one row a job and bench
benches as (
    select distinct job_id, bench as name
    from steps
    where bench is not null and list_contains($dimensions, 'bench')
),
-- one row a job and tool
tools as (
    select distinct job_id, tool as name
    from steps
    where tool is not null and list_contains($dimensions, 'tool')
),
-- one row a period and group, of all dimensions
counted as (
    select
        period,
        ['site', 'model', 'technician', 'time'][
            list_position([grouping(site), grouping(model), grouping(technician), 0], 0)
        ] as dimension, '' as part_no,
        coalesce(
            site, model, technician,
            case when grouping(site) + grouping(model) + grouping(technician) = 3 then '' end
        ) as name,
        count(*) as cases, count(*) filter (where returned) as events, sum(chance) as chance
    from judged
    where not list_contains($dimensions, 'kind')
    group by grouping sets ((period), (period, site), (period, model), (period, technician))
    union all
    select period, 'kind', '', kind, count(*), count(*) filter (where returned), sum(chance)
    from judged
    where list_contains($dimensions, 'kind')
    group by all
    union all
    select j.period, 'bench', '', b.name, count(*), count(*) filter (where j.returned), sum(j.chance)
    from judged as j
    join benches as b on b.job_id = j.job_id
    group by all
    union all
    select j.period, 'tool', '', t.name, count(*), count(*) filter (where j.returned), sum(j.chance)
    from judged as j
    join tools as t on t.job_id = j.job_id
    group by all
    union all
    select j.period, 'lot', o.part_no, o.lot, count(*), count(*) filter (where j.returned), sum(j.chance)
    from judged as j
    join fitted_lots as o on o.job_id = j.job_id
    where list_contains($dimensions, 'lot')
    group by all
)
select
    dimension, part_no, name, period,
    cast(cases as bigint) as cases, cast(events as bigint) as events, cast(chance as bigint) as chance
from counted
where name is not null and list_contains($dimensions, dimension)
order by all
