-- Come-backs of matured index jobs by what happened at a step of theirs.
-- A row is one group, outcome of the first attempt at the step, whether it was tried again (reworked: an attempt beyond
-- the first that was not skipped), and class of come-back (null: none seen). jobs: matured index jobs, one for each
-- place at which the job has the step; returned: those back within $window days.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of; steps whose first attempt was not logged.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; step of s; bench, tool of s or
--   'unknown'.
with
-- one row a place of a job that was worked on again
tried_again as (
    select distinct job_id, step_seq
    from steps
    where attempt > 1 and outcome <> 'skipped'
)
select
    /* groups: */ s.step as step, /* :groups */
    s.outcome as outcome,
    a.job_id is not null as reworked,
    l.class, cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where l.returned) as bigint) as returned
from steps as s
join matured_jobs($as_of, $window, $disposition) as l on l.job_id = s.job_id
left join tried_again as a on a.job_id = s.job_id and a.step_seq = s.step_seq
where s.attempt = 1 and /* filters: */ true /* :filters */
group by all
order by all
