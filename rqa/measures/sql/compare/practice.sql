-- First checks by how many jobs of a procedure the technician had done.
-- A row is one group and band of practice. number: the job's place among the technician's jobs of this
-- procedure, 1 for the first; up to 16 every number is a band, above that there are eight bands to a doubling.
-- jobs: of the band; numbers: the sum of their numbers; exposures: first attempts at steps that passed or failed; passed: of
-- these; first_on, last_on: days of the first and the last of them.
-- Parameters: $as_of date: steps dated later are left out.
-- Not counted: steps without a technician (of their own or their job's), without a day, or whose job is not in the store.
-- The number counts all jobs in which the technician did a step, checked or not; jobs of one day follow their ids.
-- Grouped by: technician, procedure of n.
-- Merged: rows in worked, then the rest.
with
-- one row a record of turns of work: its first checks
checked as (
    select record, sum(attempts) as exposures, sum(attempts) filter (where outcome = 'pass') as passed
    from record_steps
    where attempt = 1 and outcome in ('pass', 'fail')
    group by record
),
-- one row a technician and job: the day on which it was begun, and its first checks
worked as (
    select
        t.technician, t.procedure, t.job_id,
        min(t.day) as day,
        coalesce(sum(c.exposures) filter (where t.day <= $as_of), 0) as exposures,
        coalesce(sum(c.passed) filter (where t.day <= $as_of), 0) as passed
    from job_turns as t
    left join checked as c on c.record = t.record
    where t.technician is not null and t.worked and t.disposition is not null and t.day is not null
    group by 1, 2, 3
),
-- one row a technician and job, numbered
numbered as (
    select
        technician, procedure, day, exposures, passed,
        row_number() over (partition by technician, procedure order by day, job_id) as number
    from worked
    where day <= $as_of
)
select
    /* groups: */ n.technician as technician, n.procedure as procedure, /* :groups */
    cast(case
        when n.number <= 16 then n.number
        else 16 + floor(8 * ln(n.number / cast(16 as double)) / ln(cast(2 as double)))
    end as bigint) as band,
    cast(count(*) as bigint) as jobs,
    cast(sum(n.number) as bigint) as numbers,
    cast(sum(n.exposures) as bigint) as exposures,
    cast(sum(n.passed) as bigint) as passed,
    min(n.day) as first_on,
    max(n.day) as last_on
from numbered as n
where /* filters: */ true /* :filters */
group by all order by all
