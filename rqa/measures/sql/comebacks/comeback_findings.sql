-- What come-backs were about: what had been repaired, what the customer named this time, and what was found.
-- A row is one group, class, repaired (found at fault in the index job, else its complaint), complaint and found of the
-- return ('unknown' where nobody wrote it down; found 'nothing' where the return found no fault). returned counts matured
-- index jobs that came back within $window days.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'.
select
    /* groups: */ l.model as model, /* :groups */
    l.class,
    coalesce(l.repaired, 'unknown') as repaired,
    coalesce(l.back_complaint, 'unknown') as complaint,
    case when l.class = 'no_fault_found' then 'nothing' else coalesce(l.back_found, 'unknown') end as found,
    cast(count(*) as bigint) as returned
from returned_jobs as l
where l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window and l.elapsed_days <= $window
  and /* filters: */ true /* :filters */
group by all order by all
