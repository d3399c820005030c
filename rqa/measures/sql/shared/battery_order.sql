-- The order that a procedure asks for around its battery: isolated before work inside, reconnected last.
-- A row is one pair of steps of a procedure: the act must not come before the milestone. kind: 'isolated_late' (the milestone
-- isolates, the act is work inside) or 'reconnected_early' (the act reconnects); step: the one to look at; act_phase.
-- Parameters: none. Not counted: procedures that do not say when the battery is isolated or reconnected.
create or replace view battery_order as
select a.procedure, 'isolated_late' as kind, a.step, a.step as milestone, b.step as act, b.phase as act_phase
from procedure_plan as a
join procedure_plan as b on b.procedure = a.procedure and b.place > a.place
where a.isolates and b.phase not in ('open', 'isolate')
union all
select b.procedure, 'reconnected_early', b.step, a.step, b.step, b.phase
from procedure_plan as b
join procedure_plan as a on a.procedure = b.procedure and a.place < b.place
where b.reconnects and (a.counts or a.step = b.must_follow)
