-- Steps done again, job by job: how much a job's steps go together is told by the sums of squares.
-- A row is one group. jobs: those with a first attempt in the group; done: their first attempts; again: second attempts,
-- which is how many of the steps were done again; sums over the jobs of the squares and products of both: done_squared,
-- done_by_again, again_squared.
-- Parameters: $as_of date: attempts dated later are left out.
-- Not counted: skipped steps.
-- Grouped by: month, week of day s.day; job of s or 'unknown'; step of s; bench, tool, phase of s or 'unknown'.
with
-- one row a group and job
jobs_worked as (
    select
        /* groups: */ s.site as site, /* :groups */
        s.job_id, count(*) filter (where s.attempt = 1) as done, count(*) filter (where s.attempt = 2) as again
    from attempts_until($as_of) as s
    where s.outcome <> 'skipped' and /* filters: */ true /* :filters */
    group by all
)
select /* names: */ site, /* :names */
    cast(count(*) as bigint) as jobs, cast(coalesce(sum(done), 0) as bigint) as done,
    cast(coalesce(sum(again), 0) as bigint) as again, cast(coalesce(sum(done * done), 0) as bigint) as done_squared,
    cast(coalesce(sum(done * again), 0) as bigint) as done_by_again,
    cast(coalesce(sum(again * again), 0) as bigint) as again_squared
from jobs_worked
where done > 0
group by all order by all
