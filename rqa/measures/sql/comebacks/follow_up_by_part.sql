-- How long index jobs were followed and how that ended, by what their parts list names: part_no, lot.
-- A row is one group, day since closing and outcome, as in follow_up.sql; a job counts once in each group its parts list
-- names, so groups overlap and do not add up.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a part; retirements as in follow_up.sql.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; part_no of f; lot of f or
--   'unknown'.
select
    /* groups: */ f.part_no as part_no, f.lot as lot, /* :groups */
    cast(l.day as bigint) as day, l.until_then as outcome, cast(count(distinct l.job_id) as bigint) as jobs
from followed_upto($as_of, $upto, $disposition) as l
join parts as f on f.job_id = l.job_id
where /* filters: */ true /* :filters */
group by all order by all
