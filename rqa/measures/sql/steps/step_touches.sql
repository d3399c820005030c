-- What each step touches and what is dangerous about it, as its procedure declares it.
-- A row is one place of one procedure: step_seq, step, phase, its subsystems and hazards (names set apart by the unit
-- separator, character 31; null where none is named), opportunities, hold_point, irreversible. Not counted: nothing.
select
    procedure, cast(step_seq as bigint) as step_seq, step, phase,
    array_to_string(subsystems, chr(31)) as subsystems,
    array_to_string(hazards, chr(31)) as hazards,
    cast(coalesce(opportunities, 1) as bigint) as opportunities,
    coalesce(hold_point, false) as hold_point,
    coalesce(irreversible, false) as irreversible
from procedures
order by procedure, step_seq, step
