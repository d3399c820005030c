-- Jobs that overlap in time with another job on the same unit: faults of the data, left out of linking.
-- A row is one such job, with one job it overlaps: the earlier one that ran longest, else the next one.
-- Two jobs overlap when each opened before the other ended; a job without a closing time has not ended.
-- Not counted: cancelled jobs. Reads job_sequence.
with
-- one row a unit on which some job opened before the job before it had ended
units as (
    select distinct unit_id
    from job_sequence
    where next_opened_at is not null and (closed_at is null or next_opened_at < closed_at)
),
-- one row a job on those units, with the latest end among the jobs opened before it (far ahead when one has none)
jobs_there as (
    select
        s.unit_id, s.job_id, s.opened_at, s.closed_at, s.next_job_id, s.next_opened_at,
        max(coalesce(s.closed_at, timestamp '9999-12-31')) over earlier as latest_end,
        max_by(s.job_id, coalesce(s.closed_at, timestamp '9999-12-31')) over earlier as longest_job_id
    from job_sequence as s
    where s.unit_id in (select unit_id from units)
    window earlier as (
        partition by s.unit_id order by s.opened_at, s.closed_at nulls last, s.job_id
        rows between unbounded preceding and 1 preceding
    )
)
select
    unit_id, job_id, opened_at, closed_at,
    case when latest_end > opened_at then longest_job_id else next_job_id end as other_job_id
from jobs_there
where latest_end > opened_at
   or (next_opened_at is not null and (closed_at is null or next_opened_at < closed_at))
order by unit_id, opened_at, closed_at nulls last, job_id
