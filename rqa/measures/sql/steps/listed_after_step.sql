-- What happened at steps of matured index jobs, one by one.
-- A row is one first attempt at a step and what happened there (after): 'failed check', 'rework', 'skipped check', or 'tool'
-- (place: the one used; not of skipped steps); or one job and bench it was worked on at (after 'bench', at_step '', place: the
-- bench), as in step_comebacks.sql and step_comebacks_bench.sql. returned: the job came back within $window days, as came_as.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of; steps whose first attempt was not logged.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
with
-- one row a first attempt of an index job that has matured
firsts as (
    select l.job_id, s.step_seq, s.step, s.outcome, s.reworked, s.tool
    from matured_jobs($as_of, $window, $disposition) as l
    join marked_attempts as s on s.job_id = l.job_id
    where s.attempt = 1
),
-- one row an attempt, or a job and bench, and what happened
happened as (
    select job_id, step_seq, step as at_step, 'failed check' as after, '' as place from firsts where outcome = 'fail'
    union all
    select job_id, step_seq, step, 'rework', '' from firsts where reworked
    union all
    select job_id, step_seq, step, 'skipped check', '' from firsts where outcome = 'skipped'
    union all
    select job_id, step_seq, step, 'tool', tool from firsts where outcome <> 'skipped' and tool is not null
    union all
    select distinct l.job_id, null, '', 'bench', s.bench
    from matured_jobs($as_of, $window, $disposition) as l
    join steps as s on s.job_id = l.job_id
    where s.outcome <> 'skipped' and s.bench is not null
)
select
    /* groups: */ l.model as model, /* :groups */
    h.job_id, cast(h.step_seq as bigint) as step_seq, h.at_step, h.after, h.place, l.returned, l.class as came_as
from happened as h
join matured_jobs($as_of, $window, $disposition) as l on l.job_id = h.job_id
where /* filters: */ true /* :filters */
order by all
