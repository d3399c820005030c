-- What was logged in turns of work, each kind of turn once, so that what thousands of turns share is read a single time.
-- A row is one record (as in job_turns), step, tool, outcome, attempt, reworked and up_to_failure (as in marked_attempts);
-- attempts: how many there are of it in each turn with this record. procedure: the job's; phase, opportunities: as in
-- declared_steps, null where the procedure does not declare the step. first_of_step: true in one row of a record and step, a
-- first attempt that passed or failed if there is one, else one of the earliest attempt.
-- Not counted: nothing. Reads turn_records.
with
-- one row a record and turn that has it, of the first job alone: more than one where turns of that job are alike
samples as (
    select t.record, t.job_id, t.technician, t.bench, t.done_on, count(*) over (partition by t.record) as turns
    from turn_records as t
    join (
        select record, min(job_id) as job_id from turn_records group by record
    ) as f on f.record = t.record and f.job_id = t.job_id
),
-- one row a record and what was logged in it
counted as (
    select
        n.record, j.procedure, m.step, m.tool, m.outcome, m.attempt, m.reworked, m.up_to_failure,
        count(*) // any_value(n.turns) as attempts
    from marked_attempts as m
    join samples as n
        on n.job_id = m.job_id and n.technician is not distinct from m.technician
        and n.bench is not distinct from m.bench and n.done_on is not distinct from m.done_on
    left join jobs as j on j.job_id = m.job_id
    group by all
),
-- one row a record and step with several of these
several as (
    select record, step from counted group by record, step having count(*) > 1
),
-- the same, and which row stands for the step: a checked first attempt if there is one, else the earliest attempt
told_apart as (
    select *, true as first_of_step from counted anti join several using (record, step)
    union all
    select
        *,
        row_number() over (
            partition by record, step
            order by attempt > 1 or outcome not in ('pass', 'fail'), attempt, outcome, tool, reworked, up_to_failure
        ) = 1
    from counted
    semi join several using (record, step)
)
select
    c.record, c.procedure, c.step, p.phase, p.opportunities, c.tool, c.outcome, c.attempt, c.reworked, c.up_to_failure,
    cast(c.attempts as bigint) as attempts, c.first_of_step
from told_apart as c
left join declared_steps as p on p.procedure = c.procedure and p.step = c.step
order by c.record, c.step
