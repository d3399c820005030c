-- In which month index jobs were closed, and in which their unit came back or left service, from the kept counts.
-- A row is one group, closing month, month in which it ended (null: not yet) and outcome: 'returned', 'retired',
-- 'in service'; jobs counts them.
-- Parameters: $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out; retirements as in follow_up.sql.
-- Grouped by: month, week of day c.closed_on; job of c.
-- Merged: sums of jobs, none of 0.
select
    /* groups: */ c.model as model, /* :groups */
    cast(date_trunc('month', c.closed_on) as date) as closed_month,
    cast(date_trunc('month', c.ended_on) as date) as left_month,
    c.ended as outcome,
    cast(sum(c.jobs) as bigint) as jobs
from followed_counts($as_of, $disposition) as c
where /* filters: */ true /* :filters */
group by all
having sum(c.jobs) <> 0
order by all
