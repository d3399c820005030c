-- Failure signatures: what went wrong with a job, as a set of marks, and how many jobs had just that set.
-- A row is one set of marks. pattern: the marks in order of text with chr(31) between them, each its kind and its value with
-- chr(30) between them: step (an attempt failed), fault (code of a failed attempt), test (its first run failed), found
-- (subsystem found at the return; 'nothing' where the return found no fault, 'unknown' where nobody wrote it down).
-- jobs: repaired jobs closed at least $window days before $as_of with these marks and no others; returned: those of them
-- that came back within $window days.
-- Parameters: $window days, $as_of date, $unwritten: sites that do not write down what was found, whose returns so have no
-- mark.
-- Not counted: jobs without any mark.
with
-- one row a matured job
matured as (
    select
        l.job_id, l.site, coalesce(l.elapsed_days <= $window, false) as returned,
        case when l.elapsed_days <= $window then l.return_job_id end as return_job_id, l.class
    from links as l
    where l.disposition = 'repaired' and l.closed_on <= $as_of and date_diff('day', l.closed_on, $as_of) >= $window
),
-- one row a job and mark
marks as (
    select s.job_id, 'step' || chr(30) || s.step as mark
    from steps as s
    where s.outcome = 'fail'
    union
    select s.job_id, 'fault' || chr(30) || s.fault
    from steps as s
    where s.outcome = 'fail' and s.fault is not null
    union
    select d.job_id, 'test' || chr(30) || d.test
    from diagnostics as d
    where d.run = 1 and d.outcome = 'fail'
    union
    select
        m.job_id,
        'found' || chr(30) || case when m.class = 'no_fault_found' then 'nothing' else coalesce(b.found, 'unknown') end
    from matured as m
    join jobs as b on b.job_id = m.return_job_id
    where not list_contains($unwritten::varchar[], m.site)
),
-- one row a job with a mark
signatures as (
    select m.job_id, m.returned, string_agg(k.mark, chr(31) order by k.mark) as pattern
    from matured as m
    join marks as k on k.job_id = m.job_id
    group by m.job_id, m.returned
)
select
    pattern, cast(count(*) as bigint) as jobs, cast(count(*) filter (where returned) as bigint) as returned
from signatures
group by pattern
order by jobs desc, pattern
