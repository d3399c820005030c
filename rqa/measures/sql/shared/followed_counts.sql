-- How long index jobs were followed, and how that ended, from the kept counts.
-- A row is one combination of closed_on, site, model, procedure, technician, billing ('unknown' where none is given), ended,
-- ended_on, followed_days and outcome, as in followed_jobs; jobs counts them. Sum it up: a row may be taken off by another,
-- since jobs whose unit left service are taken off the kept counts and put in again with their retirement.
-- Parameters: as_of date, what comes later is left out; index_disposition of the index jobs.
-- Not counted: as in followed_jobs.
create or replace macro followed_counts(as_of, index_disposition) as table
with
-- one row a job without a return so far whose unit has left service
left_service as (
    select
        l.closed_on, l.elapsed_days, l.class,
        coalesce(l.site, 'unknown') as site, coalesce(l.model, 'unknown') as model,
        coalesce(l.procedure, 'unknown') as procedure, coalesce(l.technician, 'unknown') as technician,
        coalesce(l.billing, 'unknown') as billing, l.retired_on
    from retired_jobs as l
    where l.disposition = index_disposition and l.retired_on <= as_of
      and (l.elapsed_days is null or l.elapsed_days > date_diff('day', l.closed_on, as_of))
),
-- one row a combination of the kept counts, and what is taken off and put in
jobs_out as (
    select
        closed_on, elapsed_days, class, site, model, procedure, technician, billing, cast(null as date) as retired_on, jobs
    from comeback_counts
    where disposition = index_disposition and closed_on <= as_of
    union all
    select closed_on, elapsed_days, class, site, model, procedure, technician, billing, null, -1 from left_service
    union all
    select closed_on, elapsed_days, class, site, model, procedure, technician, billing, retired_on, 1 from left_service
)
select
    closed_on, site, model, procedure, technician, billing,
    case
        when elapsed_days <= date_diff('day', closed_on, as_of) then 'returned'
        when retired_on is not null then 'retired'
        else 'in service'
    end as ended,
    case
        when elapsed_days <= date_diff('day', closed_on, as_of) then closed_on + cast(elapsed_days as integer)
        else retired_on
    end as ended_on,
    case
        when elapsed_days <= date_diff('day', closed_on, as_of) then elapsed_days
        else date_diff('day', closed_on, coalesce(retired_on, as_of))
    end as followed_days,
    case
        when elapsed_days <= date_diff('day', closed_on, as_of) then class
        when retired_on is not null then 'retired'
        else 'followed'
    end as outcome,
    jobs
from jobs_out
