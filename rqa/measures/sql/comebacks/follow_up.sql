-- How long index jobs were followed and how that ended, from the kept counts: what follow-up estimates are made from.
-- A row is one group, day since closing and outcome: the class of a come-back opened on that day; 'retired' for units that
-- left service on it without one; 'followed' for jobs seen without a return up to that day ($as_of) and no further.
-- What happened after day $upto is put together as 'followed' on the day after it.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out. A retirement before the closing, or before a return that was seen, is
-- contradicted by it and counts as none.
with
-- one row a job without a return so far whose unit has left service
left_service as (
    select
        l.closed_on, l.elapsed_days, l.class,
        coalesce(l.site, 'unknown') as site, coalesce(l.model, 'unknown') as model,
        coalesce(l.procedure, 'unknown') as procedure, coalesce(l.technician, 'unknown') as technician,
        coalesce(l.billing, 'unknown') as billing,
        date_diff('day', l.closed_on, r.retired_on) as retired_days
    from links as l
    join retirements as r on r.unit_id = l.unit_id
    where l.disposition = $disposition and l.closed_on <= r.retired_on and r.retired_on <= $as_of
      and (l.elapsed_days is null or l.elapsed_days > date_diff('day', l.closed_on, $as_of))
),
-- one row a combination of the kept counts; retired jobs are taken off there and put in again with their retirement
jobs_out as (
    select
        closed_on, elapsed_days, class, site, model, procedure, technician, billing,
        cast(null as bigint) as retired_days, jobs
    from comeback_counts
    where disposition = $disposition and closed_on <= $as_of
    union all
    select closed_on, elapsed_days, class, site, model, procedure, technician, billing, null, -1 from left_service
    union all
    select closed_on, elapsed_days, class, site, model, procedure, technician, billing, retired_days, 1 from left_service
),
-- the same with how and when it ended
ended as (
    select
        /* groups: */ c.model as model, /* :groups */
        case
            when c.elapsed_days <= date_diff('day', c.closed_on, $as_of) then c.elapsed_days
            else coalesce(c.retired_days, date_diff('day', c.closed_on, $as_of))
        end as day,
        case
            when c.elapsed_days <= date_diff('day', c.closed_on, $as_of) then c.class
            when c.retired_days is not null then 'retired'
            else 'followed'
        end as outcome,
        c.jobs
    from jobs_out as c
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
