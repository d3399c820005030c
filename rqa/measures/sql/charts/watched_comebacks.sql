-- Matured index jobs and their come-backs by day of closing.
-- A row is one group, kind of work (model, procedure and billing, as kind_…) and day; jobs: matured index jobs; events: those
-- back within $window days.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out.
-- Grouped by: site, model, procedure of l or 'unknown'.
select
    /* groups: */ coalesce(l.model, 'unknown') as model, /* :groups */
    coalesce(l.model, 'unknown') as kind_model, coalesce(l.procedure, 'unknown') as kind_procedure,
    coalesce(l.billing, 'unknown') as kind_billing,
    l.closed_on as day,
    cast(count(*) as bigint) as jobs, cast(count(*) filter (where l.returned) as bigint) as events
from matured_jobs($as_of, $window, $disposition) as l
where /* filters: */ true /* :filters */
group by all order by all
