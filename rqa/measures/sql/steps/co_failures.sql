-- Failures of a job, one by one and two by two, by kind of work.
-- A row is one model, procedure and pair of marks: first and second in order of text, each its kind and value with chr(30)
-- between them: step (an attempt failed), test (its first run failed), found (subsystem found at the return; 'nothing' where
-- the return found no fault). second '': jobs with the first at all; both '': all jobs of the kind. jobs: repaired jobs
-- closed at least $window days before $as_of that have the marks.
-- Parameters: $window days, $as_of date.
-- Not counted: returns later than $window days, or whose finding nobody wrote down; fault codes, which stand on a failed step.
with
-- one row a matured job
matured as (
    select
        l.job_id, l.model, l.procedure, case when l.elapsed_days <= $window then l.return_job_id end as return_job_id,
        l.class
    from links as l
    where l.disposition = 'repaired' and l.closed_on <= $as_of and date_diff('day', l.closed_on, $as_of) >= $window
),
-- one row a job and mark
marks as (
    select s.job_id, 'step' || chr(30) || s.step as mark
    from steps as s
    where s.outcome = 'fail'
    union
    select d.job_id, 'test' || chr(30) || d.test
    from diagnostics as d
    where d.run = 1 and d.outcome = 'fail'
    union
    select m.job_id, 'found' || chr(30) || case when m.class = 'no_fault_found' then 'nothing' else b.found end
    from matured as m
    join jobs as b on b.job_id = m.return_job_id
    where m.class = 'no_fault_found' or b.found is not null
),
-- one row a matured job and mark
marked as (
    select m.job_id, m.model, m.procedure, k.mark
    from matured as m
    join marks as k on k.job_id = m.job_id
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
