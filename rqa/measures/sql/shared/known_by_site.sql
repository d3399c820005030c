-- What each site writes down of its repairs, from the kept counts: what was found when a unit came back, and what a job had
-- worked on.
-- A row is one site. jobs: repaired jobs; logged: those with a step log; touched: those of them with a procedure whose steps
-- say what they touch; tested: those with diagnostics; returned: those that came back, but for returns on which no fault was
-- found; found: those of them whose return has a subsystem found at fault.
-- Parameters: $as_of date, jobs closed later are left out.
-- Not counted: what keep_links.sql leaves out.
select
    site,
    cast(sum(jobs) as bigint) as jobs,
    cast(sum(logged) as bigint) as logged,
    cast(sum(touched) as bigint) as touched,
    cast(sum(tested) as bigint) as tested,
    cast(sum(returned) as bigint) as returned,
    cast(sum(found) as bigint) as found
from site_days
where closed_on <= $as_of
group by site
order by site
