-- Failure signatures: all marks of what went wrong with a job, as one text.
-- A row is one job with marks: pattern has its marks (as in failure_marks) in order of text with chr(31) between them.
-- Parameters: as_of date; window_days; unwritten_sites: a list of sites that do not write down what was found, whose jobs
-- so have no mark 'found'. Not counted: jobs without any mark.
create or replace macro failure_signatures(as_of, window_days, unwritten_sites) as table
select job_id, array_to_string(list_sort(list(mark)), chr(31)) as pattern
from failure_marks(as_of, window_days)
where kind <> 'found' or job_id not in (select job_id from jobs where list_contains(unwritten_sites::varchar[], site))
group by job_id
