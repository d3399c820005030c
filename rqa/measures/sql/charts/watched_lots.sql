-- Matured index jobs and their come-backs by day of closing and lot of a part that was fitted.
-- A row is one part_no, lot, kind of work and day, as in watched_comebacks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: as in watched_comebacks.sql; parts whose lot was not written down. A job counts once under each of its lots.
select
    f.part_no, f.lot,
    coalesce(l.model, 'unknown') as kind_model, coalesce(l.procedure, 'unknown') as kind_procedure,
    coalesce(l.billing, 'unknown') as kind_billing,
    l.closed_on as day,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where l.returned) as bigint) as events
from matured_jobs($as_of, $window, $disposition) as l
join fitted_lots as f on f.job_id = l.job_id
group by all order by all
