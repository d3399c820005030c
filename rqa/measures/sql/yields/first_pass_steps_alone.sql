-- First attempts at steps by outcome, from the rows, for questions that need nothing of the job.
-- A row is one group and outcome; attempts counts the first attempts.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: later attempts. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day a.day; step of a; technician, bench, tool of a or 'unknown'.
with
-- one row a first attempt; its job is looked up only where the step itself has no day or no technician
attempts as (
    select step, technician, bench, tool, done_on as day, outcome
    from steps
    where attempt = 1 and done_on is not null and technician is not null
    union all
    select
        s.step, coalesce(s.technician, j.technician) as technician, s.bench, s.tool,
        coalesce(s.done_on, j.closed_on, j.opened_on) as day, s.outcome
    from steps as s
    left join jobs as j on j.job_id = s.job_id
    where s.attempt = 1 and (s.done_on is null or s.technician is null)
)
select
    /* groups: */ a.step as step, /* :groups */
    a.outcome, cast(count(*) as bigint) as attempts
from attempts as a
where coalesce(a.day <= $as_of, true) and /* filters: */ true /* :filters */
group by all order by all
