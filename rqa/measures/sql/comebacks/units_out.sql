-- How long index jobs were followed and how that ended, by the day they were closed, from the kept counts.
-- A row is one group, closing day, ending ('returned', 'retired' or 'in service', as in followed_jobs) and days followed; jobs
-- counts them. What was known on an earlier day follows from these: who was still out then, and came back later.
-- Parameters: $as_of date, $disposition of the index jobs.
-- Not counted: as in followed_counts.sql.
-- Grouped by: job of c.
-- Merged: sums of jobs, none of 0.
select
    /* groups: */ c.model as model, /* :groups */
    c.closed_on, c.ended, cast(c.followed_days as bigint) as days,
    cast(sum(c.jobs) as bigint) as jobs
from followed_counts($as_of, $disposition) as c
where /* filters: */ true /* :filters */
group by all having sum(c.jobs) <> 0 order by all
