-- Jobs before and after an action, one by one.
-- A row is one matured index job of the action's work, as in action_jobs.sql: side, closed_month; before, after, dated: its side is
-- so, or one of these; came_back: within $window days, with a come-back of one of $classes whose fault lies in one of $subsystems
-- (in any where none is named).
-- Parameters: $window and $recent days, $as_of, $started_on and $first_on date, $disposition of the index jobs, $classes,
-- $steps and $subsystems lists, which may be empty.
-- Not counted: what keep_links.sql leaves out; jobs in which none of $steps was done, where some are named.
-- Grouped by: job of l or 'unknown'.
-- The steps: those of action_jobs.sql.
select
    /* groups: */ l.model as model, /* :groups */
    l.job_id,
    l.side, l.closed_in as closed_month,
    l.side = 'before' as before, l.side = 'after' as after, l.side <> 'under way' as dated,
    l.recent, l.came_back
from judged as l
where l.did_step and /* filters: */ true /* :filters */
order by all
