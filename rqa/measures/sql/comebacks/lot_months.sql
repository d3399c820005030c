-- Come-backs by the lot of a part that was fitted, and month.
-- A row is one lot of one part and closing month. matured: repaired jobs in which it was fitted, closed in the months
-- asked for and at least $window days before $as_of; returned: those back within $window days, their come-back of one
-- of $classes.
-- Parameters: $window days, $as_of date, $first_month and $last_month (first days) of closing, $classes of come-backs,
-- $beside_parts and $beside_lots: with any of these lots named, only jobs in which one of them was fitted are counted;
-- $sites: those whose jobs are counted, an empty list for all.
-- Not counted: parts whose lot was not written down. A job counts once under each lot fitted in it.
with
-- one row a job in which a named lot was fitted
beside as (
    select distinct p.job_id
    from parts as p
    join (select unnest($beside_parts::varchar[]) as part_no, unnest($beside_lots::varchar[]) as lot) as b
        on b.part_no = p.part_no and b.lot = p.lot
),
-- one row a job and lot fitted in it
fitted as (
    select part_no, lot, job_id
    from fitted_lots
    where (len($beside_lots) = 0 or job_id in (select job_id from beside))
)
select
    f.part_no, f.lot, l.closed_month as month,
    cast(count(*) as bigint) as matured,
    cast(count(*) filter (where l.returned and list_contains($classes, l.class)) as bigint) as returned
from matured_jobs($as_of, $window, 'repaired') as l
join fitted as f on f.job_id = l.job_id
where l.closed_month between $first_month and $last_month
  and (len($sites::varchar[]) = 0 or list_contains($sites::varchar[], l.site))
group by all order by all
