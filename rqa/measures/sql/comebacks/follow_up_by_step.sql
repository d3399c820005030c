-- How long index jobs were followed and how that ended, by what their step log names: step, bench, tool, phase.
-- A row is one group, day since closing and outcome, as in follow_up.sql; a job counts once in each group its log
-- names, so groups overlap and do not add up.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a step log; retirements as in follow_up.sql.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; step of s; bench, tool of s or
--   'unknown'; phase of p or 'unknown'.
select
    /* groups: */ s.step as step, /* :groups */
    cast(l.day as bigint) as day, l.until_then as outcome, cast(count(distinct l.job_id) as bigint) as jobs
from followed_upto($as_of, $upto, $disposition) as l
join steps as s on s.job_id = l.job_id
left join declared_steps as p on p.procedure = l.procedure and p.step = s.step
where /* filters: */ true /* :filters */
group by all
order by all
