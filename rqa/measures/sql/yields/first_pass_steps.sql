-- First attempts at steps by outcome, from the kept counts.
-- A row is one group. exposures = passed + failed; unchecked = done without a check, or skipped.
-- Parameters: none. Not counted: later attempts. A month of null: neither the step nor its job has a date.
-- Grouped by: month, job, step of c; phase of p or 'unknown'.
select
    /* groups: */ c.step as step, /* :groups */
    cast(coalesce(sum(c.exposures), 0) as bigint) as exposures,
    cast(coalesce(sum(c.passed), 0) as bigint) as passed, cast(coalesce(sum(c.failed), 0) as bigint) as failed,
    cast(coalesce(sum(c.done + c.skipped), 0) as bigint) as unchecked
from step_counts as c
/* if phase: */ left join declared_steps as p on p.procedure = c.procedure and p.step = c.step /* :if phase */
where /* filters: */ true /* :filters */
group by all order by all
