-- Come-backs by the lot of a part that was fitted.
-- A row is one lot of one part. matured: repaired jobs in which it was fitted, closed in the months asked for and at
-- least $window days before $as_of; returned: those back within $window days, their come-back of one of $classes.
-- Parameters: $window days, $as_of date, $first_month and $last_month (first days) of closing, $classes of come-backs.
-- Not counted: parts whose lot was not written down. A job counts once under each lot fitted in it.
with
-- one row a matured job and lot fitted in it
fitted as (
    select distinct p.part_no, p.lot, l.job_id, l.elapsed_days, l.class
    from links as l
    join parts as p on p.job_id = l.job_id
    where l.disposition = 'repaired'
      and l.closed_month between $first_month and $last_month
      and date_diff('day', l.closed_on, $as_of) >= $window
      and p.lot is not null
)
select
    part_no, lot,
    cast(count(*) as bigint) as matured,
    cast(count(*) filter (where elapsed_days <= $window and list_contains($classes, class)) as bigint) as returned
from fitted
group by all
order by all
