-- Released jobs one by one, by what was wrong with their tests.
-- A row is one released job and check (by_check), as in release_checks.sql. judged: it can be judged by it; flagged: it was
-- flagged by it, clear: it was not; matured: it can be followed $window days and is linked; returned: it came back within them.
-- Parameters: $usual share, $min_cases jobs, $window days, $as_of date: later runs, attempts and closings are left out;
-- $disposition of the released jobs.
-- Not counted: skipped steps; jobs of which a run was refused at load, as nobody knows what it would have said.
-- Grouped by: month, week of day j.closed_on; job of j or 'unknown'.
-- Merged: whole.
-- The steps: those of release_checks.sql.
select
    /* groups: */ j.model as model, /* :groups */
    v.job_id, v.check_name as by_check,
    v.flagged is not null as judged, coalesce(v.flagged, false) as flagged, coalesce(not v.flagged, false) as clear,
    coalesce(v.matured, false) as matured, coalesce(v.returned, false) as returned
from judged as v
join jobs as j on j.job_id = v.job_id
where /* filters: */ true /* :filters */
order by all
