-- Come-backs one by one: what had been repaired, what the customer named this time, and what was found.
-- A row is one come-back; was_repaired, named, was_found and came_with are the columns repaired, complaint, found and class
-- of comeback_findings.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'.
select
    /* groups: */ l.model as model, /* :groups */
    l.job_id, coalesce(l.repaired, 'unknown') as was_repaired, coalesce(l.back_complaint, 'unknown') as named,
    case when l.class = 'no_fault_found' then 'nothing' else coalesce(l.back_found, 'unknown') end as was_found,
    l.class as came_with
from returned_jobs as l
where l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window and l.elapsed_days <= $window
  and /* filters: */ true /* :filters */
order by all
