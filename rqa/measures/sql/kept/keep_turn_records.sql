-- Turns of work, and what was logged in each as one number.
-- A row is one turn: all attempts of a job that have the same technician, bench and day (done_on), as logged; null is a value
-- like others. record: turns have the same one if their jobs have the same procedure and the same was logged in them (step,
-- tool, outcome, attempt and marks, as in marked_attempts); two unlike turns share one by chance once in 2^63 pairs.
-- Working table of a load; not kept. Not counted: nothing.
with
-- one row a turn: each attempt's number is hashed again, so that sums of unlike attempts differ
logged as (
    select
        job_id, technician, bench, done_on,
        sum(cast(hash(hash(step, tool, outcome, attempt, reworked, up_to_failure)) as hugeint)) as content
    from marked_attempts
    group by job_id, technician, bench, done_on
)
select
    t.job_id, t.technician, t.bench, t.done_on, cast(hash(coalesce(j.procedure, ''), t.content) >> 1 as bigint) as record
from logged as t
left join jobs as j on j.job_id = t.job_id
order by t.job_id
