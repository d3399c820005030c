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
    case
        when l.closed_on < $started_on then 'before' when l.opened_on < $started_on then 'under way' else 'after'
    end as side,
    cast(date_trunc('month', l.closed_on) as date) as closed_month,
    l.closed_on < $started_on as before,
    l.opened_on >= $started_on as after,
    l.closed_on < $started_on or l.opened_on >= $started_on as dated,
    l.closed_on < $started_on and date_diff('day', l.closed_on, $started_on) <= $recent as recent,
    coalesce(
        l.elapsed_days <= $window and list_contains($classes, l.class)
        and (len($subsystems::varchar[]) = 0 or coalesce(list_contains($subsystems::varchar[], b.back_found), false)),
        false
    ) as came_back
from job_logs as l
left join returned_jobs as b on b.job_id = l.job_id
left join did as d on d.job_id = l.job_id
where l.linked
  and l.disposition = $disposition
  and l.closed_on >= $first_on
  and date_diff('day', l.closed_on, $as_of) >= $window
  and (len($steps::varchar[]) = 0 or d.job_id is not null)
  and /* filters: */ true /* :filters */
order by all
