-- First checks of steps before and after an action.
-- A row is one group and side: "before", done from $first_on on and before $started_on, or "after". checked: first attempts
-- at one of $steps that passed or failed; passed: those that passed.
-- Parameters: $started_on, $first_on and $as_of date, $steps list.
-- Not counted: later attempts, steps not checked, steps whose job is not in the store, steps done after $as_of.
-- Grouped by: site, model, procedure of j or 'unknown'; technician as coalesce(s.technician, j.technician, 'unknown');
--   billing of j or 'unknown'.
select
    /* groups: */ coalesce(j.model, 'unknown') as model, /* :groups */
    case when coalesce(s.done_on, j.closed_on, j.opened_on) < $started_on then 'before' else 'after' end as side,
    cast(count(*) as bigint) as checked,
    cast(count(*) filter (where s.outcome = 'pass') as bigint) as passed
from steps as s
join jobs as j on j.job_id = s.job_id
where s.attempt = 1
  and s.outcome in ('pass', 'fail')
  and list_contains($steps::varchar[], s.step)
  and coalesce(s.done_on, j.closed_on, j.opened_on) between $first_on and $as_of
  and /* filters: */ true /* :filters */
group by all order by all
