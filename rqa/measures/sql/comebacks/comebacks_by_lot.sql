-- Come-backs of the jobs in which each lot of a part was fitted.
-- A row is one group, such as a lot of a part. matured: jobs in which it was fitted, closed at least $window days before
-- $as_of; returned: those whose return was opened within $window days of closing.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: parts whose lot was not written down. A job counts once under each lot fitted in it.
-- Grouped by: month as l.closed_month; job of l or 'unknown'; part_no of f; lot of f.
select
    /* groups: */ f.part_no as part_no, f.lot as lot, /* :groups */
    cast(count(*) filter (where l.matured) as bigint) as matured,
    cast(count(*) filter (where l.returned) as bigint) as returned
from index_jobs($as_of, $window, $disposition) as l
join fitted_lots as f on f.job_id = l.job_id
where /* filters: */ true /* :filters */
group by all
order by all
