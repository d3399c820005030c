-- Repaired jobs that belong to the work of two actions at once.
-- A row is one group: how many of its jobs the filters keep in which one of $steps and one of $other_steps was done.
-- Parameters: $steps and $other_steps, two lists of steps; an empty one keeps every job.
-- Not counted: skipped steps, and what keep_links.sql leaves out.
-- Grouped by: job of l or 'unknown'.
with
-- one row a job and step that was done
did as (
    select distinct job_id, step
    from steps
    where outcome <> 'skipped'
      and (list_contains($steps::varchar[], step) or list_contains($other_steps::varchar[], step))
)
select
    /* groups: */ l.model as model, /* :groups */
    cast(count(*) as bigint) as jobs
from links as l
where l.disposition = 'repaired'
  and (len($steps::varchar[]) = 0 or l.job_id in (select job_id from did where list_contains($steps::varchar[], step)))
  and (
      len($other_steps::varchar[]) = 0
      or l.job_id in (select job_id from did where list_contains($other_steps::varchar[], step))
  )
  and /* filters: */ true /* :filters */
group by all order by all
