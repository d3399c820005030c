-- Matured jobs and their come-backs by period of closing and one dimension after the other, for a search of bursts.
-- A row is one period, dimension (time, site, model, technician, bench, tool, lot; kind: model, procedure and billing with
-- chr(31) between them) and name in it (part_no beside it for a lot, else ''). cases: repaired jobs closed in that period
-- and at least $window days before $as_of; events: those back within $window days, their come-back of one of $classes;
-- chance: chances of a come-back by kind, added up over the jobs, in billionths.
-- Parameters: $window days, $as_of date, $classes of come-backs, $period 'week' or 'month', $dimensions asked for
-- (kind alone, or the others); $kinds and $probabilities: the chance of each kind in billionths (none given: 0);
-- $aside_dimensions, $aside_parts, $aside_names, $aside_periods (first days): jobs of these groups closed in these periods
-- are set aside; null where none is.
-- $first_month, $last_month (first days): months looked at; $only_site, $only_model, $only_procedure, $only_technician,
-- $only_billing: lists of those kept, an empty one for all.
-- Not counted: jobs without a name in the dimension. A job counts once under each bench, tool and lot it names, so groups
-- of these overlap and do not add up.
-- Merged: sums of cases, events, chance.
with
-- one row a group and period to be set aside
aside as (select * from set_aside($aside_dimensions, $aside_parts, $aside_names, $aside_periods)),
-- one row a job and period in which it is set aside, if it was closed in it
aside_by_logs as (
    select t.job_id, a.period
    from job_turns as t
    join aside as a on a.dimension = 'bench' and a.name = t.bench
    union
    select t.job_id, a.period
    from job_turns as t
    join record_steps as p on p.record = t.record
    join aside as a on a.dimension = 'tool' and a.name = p.tool
    union
    select job_id, period from lots_set_aside($aside_dimensions, $aside_parts, $aside_names, $aside_periods)
),
-- one row a turn of work at a matured job
matured as (
    select
        l.job_id, l.turn, l.turns, l.bench, l.tools, l.lots, l.site, l.model, l.procedure, l.billing,
        l.job_technician as technician, cast(date_trunc($period, l.closed_on) as date) as period,
        l.returned and list_contains($classes, l.class) as returned
    from index_turns($as_of, $window, 'repaired') as l
    where l.matured and date_trunc('month', l.closed_on) between $first_month and $last_month
      and (len($only_site) = 0 or list_contains($only_site, l.site))
      and (len($only_model) = 0 or list_contains($only_model, l.model))
      and (len($only_procedure) = 0 or list_contains($only_procedure, l.procedure))
      and (len($only_technician) = 0 or list_contains($only_technician, coalesce(l.job_technician, 'unknown')))
      and (len($only_billing) = 0 or list_contains($only_billing, coalesce(l.billing, 'unknown')))
),
-- the same without those set aside
judged as not materialized (
    select m.*
    from matured as m
    /* given aside_names: */
    anti join aside as a on a.period = m.period and case a.dimension
        when 'time' then true when 'site' then a.name = m.site when 'model' then a.name = m.model
        when 'technician' then a.name = m.technician
    end
    anti join aside_by_logs as b on b.job_id = m.job_id and b.period = m.period
    /* :given aside_names */
),
-- one row a period, kind of work and what is asked of the jobs; each job once
cells as (
    select
        period, 'kind' as dimension, model, procedure, billing, site, technician, '' as listed,
        count(*) as cases, count(*) filter (where returned) as events
    from judged
    where turn = 1
    group by all
    union all
    select
        period, 'bench', model, procedure, billing, '', '', bench, count(*), count(*) filter (where returned)
    from judged
    where turns = 1 and bench is not null and list_contains($dimensions, 'bench')
    group by all
    union all
    select
        period, 'bench', model, procedure, billing, '', '', bench, count(distinct job_id),
        count(distinct job_id) filter (where returned)
    from judged
    where turns > 1 and bench is not null and list_contains($dimensions, 'bench')
    group by all
    union all
    select period, 'tool', model, procedure, billing, '', '', tools, count(*), count(*) filter (where returned)
    from judged
    where turns = 1 and tools is not null and list_contains($dimensions, 'tool')
    group by all
    union all
    select
        period, 'tool', model, procedure, billing, '', '', tool, count(distinct job_id),
        count(distinct job_id) filter (where returned)
    from (
        select *, unnest(string_split(tools, chr(31))) as tool
        from judged
        where turns > 1 and tools is not null and list_contains($dimensions, 'tool')
    ) as each
    group by all
    union all
    select period, 'lot', model, procedure, billing, '', '', lots, count(*), count(*) filter (where returned)
    from judged
    where turn = 1 and lots is not null and list_contains($dimensions, 'lot')
    group by all
),
-- the same with the chances of their kind
expected as (
    select d.*, coalesce(c.chance, 0) * d.cases as chance
    from (
        select *, model || chr(31) || procedure || chr(31) || coalesce(billing, 'unknown') as kind from cells
    ) as d
    left join kind_chances($kinds, $probabilities) as c on c.kind = d.kind
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
        sum(cases) as cases, sum(events) as events, sum(chance) as chance
    from expected
    where dimension = 'kind' and not list_contains($dimensions, 'kind')
    group by grouping sets ((period), (period, site), (period, model), (period, technician))
    union all
    select period, 'kind', '', kind, sum(cases), sum(events), sum(chance)
    from expected
    where dimension = 'kind' and list_contains($dimensions, 'kind')
    group by all
    union all
    select period, dimension, '', name, sum(cases), sum(events), sum(chance)
    from (
        select period, dimension, unnest(string_split(listed, chr(31))) as name, cases, events, chance
        from expected
        where dimension in ('bench', 'tool')
    ) as each
    group by all
    union all
    select period, 'lot', split_part(name, chr(30), 1), split_part(name, chr(30), 2), sum(cases), sum(events), sum(chance)
    from (
        select period, unnest(string_split(listed, chr(31))) as name, cases, events, chance
        from expected
        where dimension = 'lot'
    ) as each
    group by all
)
select
    dimension, part_no, name, period,
    cast(cases as bigint) as cases, cast(events as bigint) as events, cast(chance as bigint) as chance
from counted
where name is not null and list_contains($dimensions, dimension)
order by all
