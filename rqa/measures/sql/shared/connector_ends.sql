-- The steps that release or reconnect a subsystem of which the procedure has both ends.
-- A row is one procedure, step and subsystem: phase ('release' or 'reseat'); releases, reseats: steps of the procedure at each
-- end of the subsystem.
-- Parameters: none. Not counted: subsystems that a procedure only releases or only reconnects.
create or replace view connector_ends as
with
-- one row a procedure, step and subsystem
ends as (
    select distinct procedure, step, phase, unnest(subsystems) as subsystem
    from procedure_plan
    where phase in ('release', 'reseat')
),
-- one row a procedure and subsystem that has both ends: how many steps at each
joints as (
    select
        procedure, subsystem,
        count(*) filter (where phase = 'release') as releases,
        count(*) filter (where phase = 'reseat') as reseats
    from ends
    group by procedure, subsystem
    having count(distinct phase) = 2
)
select e.procedure, e.step, e.phase, e.subsystem, j.releases, j.reseats
from ends as e
join joints as j on j.procedure = e.procedure and j.subsystem = e.subsystem
