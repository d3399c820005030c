-- Come-backs by the lot of a part that was fitted, against the part's other lots of about the same time.
-- A row is one lot of one part. matured: repaired jobs in which it was fitted, closed in the months asked for and at
-- least $window days before $as_of; returned: those back within $window days, their come-back of one of $classes;
-- other_matured, other_returned: the same of the part's other lots, closed from the month before the lot's first
-- closing to the month after its last, so that what changes over the year does not set lots apart.
-- Parameters: $window days, $as_of date, $first_month and $last_month (first days) of closing, $classes of come-backs,
-- $aside_parts and $aside_lots: lots already pointed at; jobs in which one of them was fitted are left out.
-- Not counted: parts whose lot was not written down. A job counts once under each lot fitted in it.
with
-- one row a job to leave out, as its return may stem from a lot already pointed at
aside as (
    select distinct p.job_id
    from parts as p
    join (select unnest($aside_parts::varchar[]) as part_no, unnest($aside_lots::varchar[]) as lot) as a
        on a.part_no = p.part_no and a.lot = p.lot
),
-- one row a matured job and lot fitted in it
fitted as (
    select distinct p.part_no, p.lot, l.closed_month, l.job_id, l.elapsed_days, l.class
    from links as l
    join parts as p on p.job_id = l.job_id
    where l.disposition = 'repaired'
      and l.closed_month between $first_month and $last_month
      and date_diff('day', l.closed_on, $as_of) >= $window
      and p.lot is not null
      and l.job_id not in (select job_id from aside)
),
-- one row a lot and month
monthly as (
    select
        part_no, lot, closed_month,
        cast(count(*) as bigint) as matured,
        cast(count(*) filter (where elapsed_days <= $window and list_contains($classes, class)) as bigint) as returned
    from fitted
    group by part_no, lot, closed_month
),
-- one row a lot, with the months in which it and its like are looked at
lots as (
    select
        part_no, lot,
        cast(sum(matured) as bigint) as matured,
        cast(sum(returned) as bigint) as returned,
        min(closed_month) - interval 1 month as from_month,
        max(closed_month) + interval 1 month as to_month
    from monthly
    group by part_no, lot
)
select
    t.part_no, t.lot, t.matured, t.returned,
    cast(coalesce(sum(m.matured), 0) as bigint) as other_matured,
    cast(coalesce(sum(m.returned), 0) as bigint) as other_returned
from lots as t
left join monthly as m
    on m.part_no = t.part_no and m.lot <> t.lot and m.closed_month between t.from_month and t.to_month
group by t.part_no, t.lot, t.matured, t.returned
order by t.part_no, t.lot
