-- How often steps were done, with the chances to make a defect.
-- A row is one group. jobs: jobs with a logged step in the group; logged: first attempts; done: those not skipped; checked:
-- those that passed or failed; failed; skipped; reworked: second attempts; opportunities: those of the first attempts
-- not skipped, as their procedure declares them (the mean, rounded up, where it has the step several times with unlike
-- numbers); undeclared: first attempts not skipped at steps that the job's procedure does not declare, one chance each.
-- Where parts or lots are asked for, an attempt counts once under each part and lot that its job had fitted.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: attempts beyond the second; where parts or lots are asked for, jobs without a part. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'; part_no
--   of f; lot of f or 'unknown'.
with
-- one row a job and what is asked of the part and lot fitted in it
fitted as (
    select distinct
        job_id /* if part_no: */ , part_no /* :if part_no */ /* if lot: */ , lot /* :if lot */
    from parts
)
select
    /* groups: */ s.step as step, /* :groups */
    cast(count(distinct s.job_id) as bigint) as jobs,
    cast(count(*) filter (where s.attempt = 1) as bigint) as logged,
    cast(count(*) filter (where s.attempt = 1 and s.outcome <> 'skipped') as bigint) as done,
    cast(count(*) filter (where s.attempt = 1 and s.outcome in ('pass', 'fail')) as bigint) as checked,
    cast(count(*) filter (where s.attempt = 1 and s.outcome = 'fail') as bigint) as failed,
    cast(count(*) filter (where s.attempt = 1 and s.outcome = 'skipped') as bigint) as skipped,
    cast(count(*) filter (where s.attempt = 2 and s.outcome <> 'skipped') as bigint) as reworked,
    cast(coalesce(sum(coalesce(s.opportunities, 1)) filter (where s.attempt = 1 and s.outcome <> 'skipped'), 0) as bigint)
        as opportunities,
    cast(count(*) filter (where s.attempt = 1 and s.outcome <> 'skipped' and s.phase is null) as bigint) as undeclared
from attempts_until($as_of) as s
/* if part_no or lot: */ join fitted as f on f.job_id = s.job_id /* :if part_no or lot */
where s.attempt <= 2 and /* filters: */ true /* :filters */
group by all
order by all
