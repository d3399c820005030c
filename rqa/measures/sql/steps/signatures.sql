-- Failure signatures: what went wrong with a job, as a set of marks, and how many jobs had just that set.
-- A row is one set of marks. pattern: the marks in order of text with chr(31) between them, each its kind and its value with
-- chr(30) between them: step (an attempt failed), fault (code of a failed attempt), test (its first run failed), found
-- (subsystem found at the return; 'nothing' where the return found no fault, 'unknown' where nobody wrote it down).
-- jobs: repaired jobs closed at least $window days before $as_of with these marks and no others; returned: those of them
-- that came back within $window days.
-- Parameters: $window days, $as_of date, $unwritten: sites that do not write down what was found, whose returns so have no
-- mark.
-- Not counted: jobs without any mark.
select
    s.pattern, cast(count(*) as bigint) as jobs, cast(count(*) filter (where m.returned) as bigint) as returned
from matured_jobs($as_of, $window, 'repaired') as m
join failure_signatures($as_of, $window, $unwritten) as s on s.job_id = m.job_id
group by s.pattern
order by jobs desc, s.pattern
