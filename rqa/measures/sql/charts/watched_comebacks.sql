-- Matured index jobs and their come-backs by day of closing; by lot of a part, of the jobs in which one was fitted.
-- A row is one group, kind of work (model, procedure and billing, as kind_…) and day; jobs: matured index jobs; events: those
-- back within $window days.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out; by
--   lot, parts whose lot was not written down. A job counts once under each of its lots.
-- Grouped by: site, model, procedure of l or 'unknown'; part_no, lot of f.
select
    /* groups: */ coalesce(l.model, 'unknown') as model, /* :groups */
    coalesce(l.model, 'unknown') as kind_model, coalesce(l.procedure, 'unknown') as kind_procedure,
    coalesce(l.billing, 'unknown') as kind_billing,
    l.closed_on as day,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where l.returned) as bigint) as events
from matured_jobs($as_of, $window, $disposition) as l
/* if part_no or lot: */ join fitted_lots as f on f.job_id = l.job_id /* :if part_no or lot */
where /* filters: */ true /* :filters */
group by all order by all
