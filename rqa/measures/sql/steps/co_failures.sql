-- Failures of a job, one by one and two by two, by kind of work.
-- A row is one model, procedure and pair of marks: first and second in order of text, each its kind and value with chr(30)
-- between them: step (an attempt failed), test (its first run failed), found (subsystem found at the return; 'nothing' where
-- the return found no fault). second '': jobs with the first at all; both '': all jobs of the kind. jobs: repaired jobs
-- closed at least $window days before $as_of that have the marks.
-- Parameters: $window days, $as_of date, $silent: sites whose jobs are left out.
-- Not counted: returns later than $window days, or whose finding nobody wrote down; fault codes, which stand on a failed step.
-- Merged: sums of jobs.
with
-- one row a matured job
matured as (
    select job_id, model, procedure
    from matured_jobs($as_of, $window, 'repaired')
    where not list_contains($silent::varchar[], site)
),
-- one row a matured job and mark
marked as (
    select m.job_id, m.model, m.procedure, k.mark
    from matured as m
    join failure_marks($as_of, $window) as k on k.job_id = m.job_id
    where k.kind <> 'fault' and k.value is not null
),
-- one row a kind of work and pair, mark alone, or all its jobs
counted as (
    select model, procedure, '' as first, '' as second, count(*) as jobs
    from matured
    group by all
    union all
    select model, procedure, mark, '', count(*)
    from marked
    group by all
    union all
    select a.model, a.procedure, a.mark, b.mark, count(*)
    from marked as a
    join marked as b on b.job_id = a.job_id and b.mark > a.mark
    group by all
)
select model, procedure, first, second, cast(jobs as bigint) as jobs
from counted
order by all
