-- First attempts that were checked, up to the first of a job that failed, by period and one dimension
-- after the other, for a search of bursts.
-- A row is one period, dimension (time, site, model, technician, step, bench, tool, lot; kind: model, procedure, billing and
-- step with chr(31) between them) and name in it (part_no beside it for a lot, else ''). cases: first attempts that passed
-- or failed; events: those that failed; chance: chances of a failure by kind, added up over the attempts, in billionths.
-- Parameters: $as_of date: attempts dated later are left out; $period 'week' or 'month', $dimensions asked for
-- (kind alone, or the others); $kinds and $probabilities: the chance of each kind in billionths (none given: 0);
-- $aside_dimensions, $aside_parts, $aside_names, $aside_periods (first days): attempts of these groups in these periods
-- are set aside; null where none is.
-- $first_month, $last_month (first days): months looked at; $only_site, $only_model, $only_procedure, $only_technician,
-- $only_billing: lists of those kept, an empty one for all.
-- Not counted: attempts after the first of their job that failed, as failures of one job often come together; attempts
-- without a date or without a job in the store, or without a name in the dimension. An attempt counts once under each lot
-- fitted in its job, so lots overlap and do not add up.
-- Merged: sums of cases, events, chance.
with
-- one row a group and period to be set aside
aside as (select * from set_aside($aside_dimensions, $aside_parts, $aside_names, $aside_periods)),
-- one row a turn of work
asked as (
    select
        t.job_id, t.site, t.model, t.procedure, t.billing, t.technician, t.bench, t.lots, t.record,
        cast(date_trunc($period, t.day) as date) as period
    from job_turns as t
    where t.record is not null and t.disposition is not null and t.day <= $as_of
      and date_trunc('month', t.day) between $first_month and $last_month
      and (len($only_site) = 0 or list_contains($only_site, t.site))
      and (len($only_model) = 0 or list_contains($only_model, t.model))
      and (len($only_procedure) = 0 or list_contains($only_procedure, t.procedure))
      and (len($only_technician) = 0 or list_contains($only_technician, coalesce(t.technician, 'unknown')))
      and (len($only_billing) = 0 or list_contains($only_billing, coalesce(t.billing, 'unknown')))
),
-- the same without those set aside, but for steps and tools; number: of the period, where steps or tools are set aside in it
judged as not materialized (
    select
        m.*, 0.0
        /* given aside_names: */ + coalesce(epoch(l.period), 0) /* :given aside_names */
        as number
    from asked as m
    /* given aside_names: */
    left join (select distinct period from aside where dimension in ('step', 'tool')) as l on l.period = m.period
    anti join aside as a on a.period = m.period and case a.dimension
        when 'time' then true when 'site' then a.name = m.site when 'model' then a.name = m.model
        when 'technician' then a.name = m.technician when 'bench' then a.name = m.bench
    end
    anti join lots_set_aside($aside_dimensions, $aside_parts, $aside_names, $aside_periods) as b
        on b.job_id = m.job_id and b.period = m.period
    /* :given aside_names */
),
-- one row a period, kind of work and record
turns as (
    select period, number, model, procedure, coalesce(billing, 'unknown') as billing, record, count(*) as turns
    from judged
    group by all
),
-- one row a period, step, tool and kind of work: what was checked
by_step as (
    select
        t.period, p.step, p.tool, t.model || chr(31) || t.procedure || chr(31) || t.billing || chr(31) || p.step as kind,
        t.model, sum(t.turns * p.attempts) as cases,
        coalesce(sum(t.turns * p.attempts) filter (where p.outcome = 'fail'), 0) as events
    from turns as t
    join record_steps as p on p.record = t.record
    /* given aside_names: */
    anti join aside as a on a.period = t.period and case a.dimension
        when 'step' then a.name = p.step when 'tool' then a.name = p.tool
    end
    /* :given aside_names */
    where p.up_to_failure
    group by t.period, p.step, p.tool, t.model, t.procedure, t.billing
),
-- the same with the chances of their kind
step_cells as materialized (
    select b.*, b.cases * coalesce(c.chance, 0) as chance
    from by_step as b
    left join kind_chances($kinds, $probabilities) as c on c.kind = b.kind
),
-- one row a record and kind of work (and period, where steps or tools are set aside): what each of its turns checked
each_turn as (
    select
        t.record, t.model, t.billing, t.number,
        sum(p.attempts) as cases,
        coalesce(sum(p.attempts) filter (where p.outcome = 'fail'), 0) as events,
        sum(p.attempts * coalesce(c.chance, 0)) as chance
    from (select distinct record, model, procedure, billing, number from turns) as t
    join record_steps as p on p.record = t.record
    left join kind_chances($kinds, $probabilities) as c
        on c.kind = t.model || chr(31) || t.procedure || chr(31) || t.billing || chr(31) || p.step
    /* given aside_names: */
    anti join aside as a on epoch(a.period) = t.number and case a.dimension
        when 'step' then a.name = p.step when 'tool' then a.name = p.tool
    end
    /* :given aside_names */
    where p.up_to_failure
      and (list_contains($dimensions, 'site') or list_contains($dimensions, 'technician')
          or list_contains($dimensions, 'bench') or list_contains($dimensions, 'lot'))
    group by all
),
-- one row a period and group, of all dimensions
counted as (
    select
        period,
        ['model', 'step', 'tool', 'time'][
            list_position([grouping(model), grouping(step), grouping(tool), 0], 0)
        ] as dimension, '' as part_no,
        coalesce(model, step, tool, case when grouping(model) + grouping(step) + grouping(tool) = 3 then '' end) as name,
        sum(cases) as cases, sum(events) as events, sum(chance) as chance
    from step_cells
    where not list_contains($dimensions, 'kind')
    group by grouping sets ((period), (period, model), (period, step), (period, tool))
    union all
    select period, 'kind', '', kind, sum(cases), sum(events), sum(chance)
    from step_cells
    where list_contains($dimensions, 'kind')
    group by all
    union all
    select
        t.period,
        ['site', 'technician', 'bench'][
            list_position([grouping(t.site), grouping(t.technician), grouping(t.bench)], 0)
        ], '',
        coalesce(t.site, t.technician, t.bench), sum(t.turns * e.cases), sum(t.turns * e.events), sum(t.turns * e.chance)
    from (
        select
            period, number, site, technician, bench, model, coalesce(billing, 'unknown') as billing, record,
            count(*) as turns
        from judged
        where not list_contains($dimensions, 'kind')
        group by all
    ) as t
    join each_turn as e
        on e.record = t.record and e.number = t.number and e.model is not distinct from t.model and e.billing = t.billing
    group by grouping sets ((t.period, t.site), (t.period, t.technician), (t.period, t.bench))
    union all
    select period, 'lot', split_part(lot, chr(30), 1), split_part(lot, chr(30), 2), sum(cases), sum(events), sum(chance)
    from (
        select t.period, unnest(string_split(t.lots, chr(31))) as lot, e.cases, e.events, e.chance
        from judged as t
        join each_turn as e
            on e.record = t.record and e.number = t.number and e.model is not distinct from t.model
            and e.billing = coalesce(t.billing, 'unknown')
        where t.lots is not null and list_contains($dimensions, 'lot')
    ) as fitted
    group by all
)
-- The rest: that of bursts_comebacks.sql from its select on.
