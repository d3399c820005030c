-- The rules of order that procedures set, against which a job's log is held.
-- A row is one pair of steps whose order matters: no act may come before the milestone (of 'check_before_tightening': none after
-- it). kind: 'check_before_tightening', 'irreversible_before_hold', 'out_of_order', 'isolated_late' or 'reconnected_early';
-- step: the one to look at; rule: a number for each procedure, kind, step and milestone, below 0 where a milestone never
-- reached is a breach too; way: -1 where time is read backward, else 1.
-- Parameters: none. Not counted: rules that name a step which comes later, or is not in the procedure.
create or replace view order_rules as
with
-- one row a check of alignment that names no step to follow: the last screws before it
last_screws as (
    select b.procedure, b.step, max(a.place) as place
    from procedure_plan as b
    join procedure_plan as a on a.procedure = b.procedure and a.place < b.place
    where b.aligns and b.must_follow is null and a.phase in ('fit', 'close')
      and list_contains(a.hazards, 'mixed_fasteners')
    group by b.procedure, b.step
),
-- one row a pair of steps whose order matters: no act may come before the milestone (of a check before tightening: none
-- after it); step is the one to look at
pairs as (
    select b.procedure, 'check_before_tightening' as kind, b.step, b.step as milestone, a.step as act
    from procedure_plan as b
    left join last_screws as t on t.procedure = b.procedure and t.step = b.step
    join procedure_plan as a on a.procedure = b.procedure and a.place < b.place
    where b.aligns and (a.step = b.must_follow or a.place = t.place)
    union all
    select b.procedure, 'irreversible_before_hold' as kind, b.step, a.step as milestone, b.step as act
    from procedure_plan as b
    join procedure_plan as a on a.procedure = b.procedure and a.place < b.place
    where b.irreversible and a.hold_point
    union all
    select b.procedure, 'out_of_order' as kind, b.step, a.step as milestone, b.step as act
    from procedure_plan as b
    join procedure_plan as a on a.procedure = b.procedure and a.place < b.place and a.step = b.must_follow
    where not b.aligns and not b.reconnects and not coalesce(b.irreversible and a.hold_point, false)
    union all
    select procedure, kind, step, milestone, act
    from battery_order
)
select
    *,
    dense_rank() over (order by procedure, kind, step, milestone)
    * case when kind in ('check_before_tightening', 'out_of_order') then 1 else -1 end as rule,
    case when kind = 'check_before_tightening' then -1 else 1 end as way
from pairs
