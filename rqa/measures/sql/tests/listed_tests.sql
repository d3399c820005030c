-- The tests of jobs one by one, and how each ended.
-- A row is one test of a job, by its first run. judged: that passed or failed; first_passed: it passed; final_passed: the last
-- run passed; runs: how many there were. A test of a job belongs to the station and the day of its first run.
-- Parameters: $as_of date: later runs are left out.
-- Not counted: tests of a job whose first run is not in the store. Runs whose job is not in the store count under 'unknown'.
-- Grouped by: month, week of day d.run_on; job, station of d or 'unknown'; test of d.
-- The steps: those of diagnostic_outcomes.sql.
select
    /* groups: */ d.model as model, /* :groups */
    d.job_id, d.test as of_test, d.outcome as first_outcome, coalesce(l.outcome, d.outcome) as last_outcome,
    cast(1 + coalesce(l.runs, 0) as bigint) as runs, d.run_on as day, d.station as at_station,
    d.outcome in ('pass', 'fail') as judged, d.outcome = 'pass' as first_passed,
    coalesce(l.outcome, d.outcome) = 'pass' as final_passed
from runs_of_jobs($as_of) as d
left join later as l on l.job_id = d.job_id and l.test = d.test
where d.run = 1 and /* filters: */ true /* :filters */
order by all
