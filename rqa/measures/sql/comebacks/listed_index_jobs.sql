-- Index jobs one by one, as the questions about come-backs count them.
-- A row is one index job and group, as in index_jobs: a job stands once in each group that its step log, diagnostics or
-- parts list names. matured: closed at least $window days before $as_of; returned: matured, and its return opened within
-- $window days of closing; returned_so_far: that return was opened by $as_of; came_as: the class of its return, null without;
-- closed_day and opened_day: the days of its closing and its return.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out; by step log, diagnostics or parts list, jobs without one.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; step of s; bench of s or 'unknown';
--   tool of s or 'unknown'; phase of p or 'unknown'; test of d; station of d or 'unknown'; part_no of f; lot of f or
--   'unknown'.
with
-- one row an index job, with what is told of it
counted as (
    select *, {
        'matured': matured, 'returned': returned, 'came_as': class,
        'closed_day': closed_on, 'opened_day': return_opened_on,
        'returned_so_far': coalesce(elapsed_days <= $window and return_opened_on <= $as_of, false)
    } as told
    from index_jobs($as_of, $window, $disposition)
)
select distinct
    /* groups: */ l.model as model, /* :groups */
    l.job_id, unnest(l.told)
from counted as l
/* if step or bench or tool or phase: */ join steps as s on s.job_id = l.job_id /* :if step or bench or tool or phase */
/* if phase: */
left join declared_steps as p on p.procedure = l.procedure and p.step = s.step
/* :if phase */
/* if test or station: */ join diagnostics as d on d.job_id = l.job_id /* :if test or station */
/* if part_no or lot: */ join parts as f on f.job_id = l.job_id /* :if part_no or lot */
where /* filters: */ true /* :filters */
order by all
