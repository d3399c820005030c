-- Matured index jobs one by one, by the steps that were done in them.
-- A row is one index job and group; returned: it came back within $window days; candidate: with one of $classes, and what was
-- found at fault then is what one of the steps touches, as the job's procedure declares.
-- Parameters: $window days, $as_of date, $disposition of the index jobs, $classes of come-backs.
-- Not counted: jobs closed less than $window days before $as_of; skipped steps.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; step of s; bench of s or 'unknown';
--   tool of s or 'unknown'; subsystem as coalesce(t.subsystem, 'none').
select
    /* groups: */ l.model as model, /* :groups */
    l.job_id, l.returned,
    bool_or(coalesce(l.returned and list_contains($classes, l.class) and b.found = t.subsystem, false)) as candidate
from matured_jobs($as_of, $window, $disposition) as l
join steps as s on s.job_id = l.job_id
left join step_subsystems as t on t.procedure = l.procedure and t.step = s.step
left join jobs as b on b.job_id = l.return_job_id
where s.outcome <> 'skipped' and /* filters: */ true /* :filters */
group by all order by all
