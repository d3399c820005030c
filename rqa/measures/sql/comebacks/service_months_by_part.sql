-- In which month index jobs were closed, and in which their unit came back or left service, by parts fitted: part_no, lot.
-- A row is one group, closing month, month in which it ended and outcome, as in service_months.sql; a job counts once in
-- each group its parts list names, so groups overlap and do not add up.
-- Parameters: $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a part; retirements as in follow_up.sql.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; part_no of f; lot of f or
--   'unknown'.
select
    /* groups: */ f.part_no as part_no, f.lot as lot, /* :groups */
    l.closed_month, cast(date_trunc('month', l.ended_on) as date) as left_month, l.ended as outcome,
    cast(count(distinct l.job_id) as bigint) as jobs
from followed_jobs($as_of, $disposition) as l
join parts as f on f.job_id = l.job_id
where /* filters: */ true /* :filters */
group by all order by all
