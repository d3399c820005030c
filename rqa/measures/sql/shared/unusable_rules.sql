-- Steps of the reference that must follow a step which comes later in their procedure, or is not in it.
-- A row is one such step of one procedure: no log can be held against the rule. Not counted: nothing.
select p.procedure, p.step, p.must_follow
from procedures as p
where p.must_follow is not null
  and not exists (
      select 1
      from procedures as a
      where a.procedure = p.procedure and a.step = p.must_follow and a.step_seq < p.step_seq
  )
order by p.procedure, p.step_seq
