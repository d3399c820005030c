-- In which month index jobs were closed, and in which their unit came back or left service, from the kept counts.
-- A row is one group, closing month, month in which it ended (null: not yet) and outcome: 'returned', 'retired',
-- 'in service'; jobs counts them.
-- Parameters: $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out; retirements as in follow_up.sql.
with
-- one row a job without a return so far whose unit has left service
left_service as (
    select
        l.closed_on, l.elapsed_days,
        coalesce(l.site, 'unknown') as site, coalesce(l.model, 'unknown') as model,
        coalesce(l.procedure, 'unknown') as procedure, coalesce(l.technician, 'unknown') as technician,
        coalesce(l.billing, 'unknown') as billing, r.retired_on
    from links as l
    join retirements as r on r.unit_id = l.unit_id
    where l.disposition = $disposition and l.closed_on <= r.retired_on and r.retired_on <= $as_of
      and (l.elapsed_days is null or l.elapsed_days > date_diff('day', l.closed_on, $as_of))
),
-- one row a combination of the kept counts; retired jobs are taken off there and put in again with their retirement
jobs_out as (
    select closed_on, elapsed_days, site, model, procedure, technician, billing, cast(null as date) as retired_on, jobs
    from comeback_counts
    where disposition = $disposition and closed_on <= $as_of
    union all
    select closed_on, elapsed_days, site, model, procedure, technician, billing, null, -1 from left_service
    union all
    select closed_on, elapsed_days, site, model, procedure, technician, billing, retired_on, 1 from left_service
)
select
    /* groups: */ c.model as model, /* :groups */
    cast(date_trunc('month', c.closed_on) as date) as closed_month,
    cast(date_trunc('month', case
        when c.elapsed_days <= date_diff('day', c.closed_on, $as_of) then c.closed_on + cast(c.elapsed_days as integer)
        else c.retired_on
    end) as date) as left_month,
    case
        when c.elapsed_days <= date_diff('day', c.closed_on, $as_of) then 'returned'
        when c.retired_on is not null then 'retired'
        else 'in service'
    end as outcome,
    cast(sum(c.jobs) as bigint) as jobs
from jobs_out as c
where /* filters: */ true /* :filters */
group by all
having sum(c.jobs) <> 0
order by all
