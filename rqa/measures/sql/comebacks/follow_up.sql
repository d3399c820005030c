-- How long index jobs were followed and how that ended, from the kept counts: what follow-up estimates are made from.
-- A row is one group, day since closing and outcome: the class of a come-back opened on that day; 'retired' for units that
-- left service on it without one; 'followed' for jobs seen without a return up to that day ($as_of) and no further.
-- What happened after day $upto is put together as 'followed' on the day after it.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out. A retirement before the closing, or before a return that was seen, is
-- contradicted by it and counts as none.
-- Grouped by: month, week of day c.closed_on; job of c.
-- Merged: sums of jobs, none of 0.
with
-- one row a group, day and outcome
ended as (
    select
        /* groups: */ c.model as model, /* :groups */
        c.followed_days as day, c.outcome, c.jobs
    from followed_counts($as_of, $disposition) as c
    where /* filters: */ true /* :filters */
)
select
    /* names: */ model, /* :names */
    cast(least(day, $upto + 1) as bigint) as day,
    case when day > $upto then 'followed' else outcome end as outcome,
    cast(sum(jobs) as bigint) as jobs
from ended
group by all
having sum(jobs) <> 0
order by all
