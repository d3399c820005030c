-- The steps that each procedure declares, each once: a step that stands in several places has the phase of the first.
-- A row is one procedure and step: phase; opportunities: chances to make a defect, the mean over its places, rounded up.
-- Parameters: none. Not counted: steps that no procedure declares.
create or replace view declared_steps as
select
    procedure, step,
    min_by(phase, step_seq) as phase,
    cast(ceil(avg(coalesce(opportunities, 1))) as bigint) as opportunities
from procedures
group by procedure, step
