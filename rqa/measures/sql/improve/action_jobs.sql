-- Come-backs before and after an action.
-- A row is one group, side of the action ("before", "under way", "after": opened from its start on), whether one of
-- $steps was done in the job (true where none is named), month of closing, month in which the job matured, and whether it
-- was closed in the $recent days before the start. matured: index jobs closed from $first_on on and at least $window days
-- before $as_of; returned: those back within $window days with a come-back of one of $classes whose fault lies in one of
-- $subsystems (in any where none is named).
-- Parameters: $window and $recent days, $as_of, $started_on and $first_on date, $disposition of the index jobs, $classes,
-- $steps and $subsystems lists, which may be empty.
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: job of l or 'unknown'.
with
-- one row a job in which one of the steps was done
did as (
    select distinct job_id
    from steps
    where len($steps::varchar[]) > 0 and list_contains($steps::varchar[], step) and outcome <> 'skipped'
),
-- one row a matured index job closed from $first_on on
judged as (
    select
        l.*,
        case
            when l.closed_on < $started_on then 'before' when l.opened_on < $started_on then 'under way' else 'after'
        end as side,
        cast(date_trunc('month', l.closed_on) as date) as closed_in,
        len($steps::varchar[]) = 0 or d.job_id is not null as did_step,
        l.closed_on < $started_on and date_diff('day', l.closed_on, $started_on) <= $recent as recent,
        coalesce(
            l.elapsed_days <= $window and list_contains($classes, l.class)
            and (len($subsystems::varchar[]) = 0 or coalesce(list_contains($subsystems::varchar[], b.back_found), false)),
            false
        ) as came_back
    from job_logs as l
    left join returned_jobs as b on len($subsystems::varchar[]) > 0 and b.job_id = l.job_id
    left join did as d on d.job_id = l.job_id
    where l.linked
      and l.disposition = $disposition
      and l.closed_on >= $first_on
      and date_diff('day', l.closed_on, $as_of) >= $window
)
select
    /* groups: */ l.model as model, /* :groups */
    l.side, l.did_step, l.closed_in as closed_month,
    cast(date_trunc('month', l.closed_on + cast($window as integer)) as date) as known_month,
    l.recent,
    cast(count(*) as bigint) as matured,
    cast(count(*) filter (where l.came_back) as bigint) as returned
from judged as l
where /* filters: */ true /* :filters */
group by all order by all
