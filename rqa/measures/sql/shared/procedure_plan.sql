-- The plan of each procedure, against which a job's log is held.
-- A row is one step of a procedure, by its first place: place counts from 0. counts: a count of connectors that holds the
-- work; aligns: a check of alignment; isolates: isolates the battery; reconnects: the last reconnection of the battery.
-- Parameters: none. Not counted: the later places of a step that its procedure names several times.
create or replace view procedure_plan as
with
-- one row a step of a procedure, numbered by how often it was named before
named as (
    select *, row_number() over (partition by procedure, step order by step_seq) as time_named
    from procedures
),
-- one row a step of a procedure, by its first place
placed as (
    select
        procedure, step, phase, subsystems, hazards, opportunities, hold_point, irreversible, must_follow,
        cast(row_number() over (partition by procedure order by step_seq) - 1 as bigint) as place
    from named
    where time_named = 1
)
select
    *,
    coalesce(hold_point and phase = 'verify' and opportunities > 1, false) as counts,
    coalesce(phase in ('align', 'verify') and list_contains(hazards, 'alignment'), false) as aligns,
    coalesce(phase = 'isolate' and list_contains(hazards, 'battery'), false) as isolates,
    coalesce(
        phase = 'reseat' and list_contains(hazards, 'battery') and place = max(place) filter (
            where phase = 'reseat' and list_contains(hazards, 'battery')
        ) over (partition by procedure),
        false
    ) as reconnects
from placed
