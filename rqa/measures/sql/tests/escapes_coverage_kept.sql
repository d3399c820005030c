-- Come-backs by what was found at fault, and why no test had caught it, from what is kept of each job.
-- A row is one group, subsystem found on return and way, as in escapes_coverage.sql.
-- Parameters: $window days, $as_of date: no later run may be in the store; $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: month, week of day l.closed_on; job of l or 'unknown'.
with
-- one row a subsystem that some test covers: which do
covered as (
    select subsystem, list(test) as tests from tests group by subsystem
)
select
    /* groups: */ coalesce(l.model, 'unknown') as model, /* :groups */
    coalesce(l.fault_found, '') as subsystem,
    case
        when l.fault_found is null then 'not known'
        when c.tests is null then 'no test covers it'
        when not list_has_any(string_split(concat_ws(chr(31), l.tests, l.later_tests), chr(31)), c.tests) then 'not run'
        when l.failed or l.aborted then 'not passed'
        else 'escaped'
    end as way,
    cast(count(*) as bigint) as returned
from job_logs as l
left join covered as c on c.subsystem = l.fault_found
where l.linked and l.disposition = $disposition and date_diff('day', l.closed_on, $as_of) >= $window
  and l.elapsed_days <= $window and /* filters: */ true /* :filters */
group by all order by all
