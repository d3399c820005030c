-- How often steps were done in jobs by the parts fitted in them, with the chances to make a defect.
-- A row is one group; an attempt counts once under each part and lot, as far as groups and filters name them, that its job
-- had fitted. Counts as in step_exposure.sql: jobs, logged, done, checked, failed, skipped, again, chances, undeclared.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: attempts beyond the second, jobs without a part. A month of null: neither the step nor its job has a date.
with
-- one row a procedure and step
declared as (
    select
        procedure, step,
        min_by(phase, step_seq) as phase,
        cast(ceil(avg(coalesce(opportunities, 1))) as bigint) as opportunities
    from procedures
    group by procedure, step
),
-- one row a job and what is asked of the part and lot fitted in it
fitted as (
    select distinct
        job_id /* if part_no: */ , part_no /* :if part_no */ /* if lot: */ , lot /* :if lot */
    from parts
)
select
    /* groups: */ f.part_no as part_no, f.lot as lot, /* :groups */
    cast(count(distinct s.job_id) as bigint) as jobs,
    cast(count(*) filter (where s.attempt = 1) as bigint) as logged,
    cast(count(*) filter (where s.attempt = 1 and s.outcome <> 'skipped') as bigint) as done,
    cast(count(*) filter (where s.attempt = 1 and s.outcome in ('pass', 'fail')) as bigint) as checked,
    cast(count(*) filter (where s.attempt = 1 and s.outcome = 'fail') as bigint) as failed,
    cast(count(*) filter (where s.attempt = 1 and s.outcome = 'skipped') as bigint) as skipped,
    cast(count(*) filter (where s.attempt = 2 and s.outcome <> 'skipped') as bigint) as again,
    cast(coalesce(sum(coalesce(p.opportunities, 1)) filter (where s.attempt = 1 and s.outcome <> 'skipped'), 0) as bigint)
        as chances,
    cast(count(*) filter (where s.attempt = 1 and s.outcome <> 'skipped' and p.step is null) as bigint) as undeclared
from steps as s
join fitted as f on f.job_id = s.job_id
left join jobs as j on j.job_id = s.job_id
left join declared as p on p.procedure = j.procedure and p.step = s.step
where s.attempt <= 2
  and coalesce(coalesce(s.done_on, j.closed_on, j.opened_on) <= $as_of, true)
  and /* filters: */ true /* :filters */
group by all
order by all
