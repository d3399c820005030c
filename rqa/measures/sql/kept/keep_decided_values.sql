-- Measured values that decided tests of jobs, where more came of them than that they passed: the test failed first, or the unit
-- came back.
-- A row is one test of an index job and unit of its values, with disposition, closed_on, class and elapsed_days of the job.
-- value is that of its first run with a value where that failed (failed_first), else that of its last one; over, under: the
-- first run's value lay beyond its upper, its lower limit; of tests that failed first, mended (a step attempt lies between first
-- and last run: ended after the first, begun no later than the last) and untimed (the job has a step attempt without any time);
-- covers: the return found the subsystem at fault that the test covers.
-- Not counted: aborted runs, those without a value; jobs of which the last run of any test did not pass; skipped steps. Reads
-- job_logs, unclean_tests, unclean_attempts, and the tests as they are declared now.
with
-- one row an index job that came back or has tests that were not clean, and passed all in the end
looked_at as (
    select job_id, disposition, closed_on, class, elapsed_days, fault_found
    from job_logs
    where linked and not (failed or aborted)
      and (elapsed_days is not null or job_id in (select job_id from unclean_tests))
),
-- one row a run with a value, of jobs that came back or of tests that were not clean
measured as (
    select
        d.job_id, d.test, d.unit, d.run, d.run_at, d.outcome, d.value, d.lower_limit, d.upper_limit,
        l.disposition, l.closed_on, l.class, l.elapsed_days, l.fault_found
    from diagnostics as d
    join looked_at as l on l.job_id = d.job_id
    left join unclean_tests as u on u.job_id = d.job_id and u.test = d.test
    where d.outcome <> 'aborted' and d.value is not null and (u.job_id is not null or l.elapsed_days is not null)
),
-- one row a test of a job and unit, with its first and its last run
decided as (
    select
        job_id, test, unit, disposition, closed_on, class, elapsed_days, fault_found,
        min_by(value, run) as first_value, min_by(outcome, run) as first_outcome, min_by(run_at, run) as first_at,
        min_by(coalesce(value > upper_limit, false), run) as over, min_by(coalesce(value < lower_limit, false), run) as under,
        max_by(value, run) as last_value, max_by(outcome, run) as last_outcome, max_by(run_at, run) as last_at
    from measured
    group by all
),
-- one row such a test that failed first, with work between its first and its last run
worked as (
    select distinct f.job_id, f.test, f.unit
    from decided as f
    join unclean_attempts as s on s.job_id = f.job_id and s.done_at > f.first_at and s.began_at <= f.last_at
    where f.first_outcome = 'fail'
)
select
    f.job_id, f.test, f.unit, f.disposition, f.closed_on, f.class, f.elapsed_days,
    f.first_outcome = 'fail' as failed_first,
    case when f.first_outcome = 'fail' then f.first_value else f.last_value end as value,
    f.over, f.under,
    w.job_id is not null as mended, f.first_outcome = 'fail' and n.job_id is not null as untimed,
    coalesce(f.fault_found = t.subsystem, false) as covers
from decided as f
left join (select distinct job_id from unclean_attempts where done_at is null) as n on n.job_id = f.job_id
left join worked as w on w.job_id = f.job_id and w.test = f.test and w.unit is not distinct from f.unit
left join tests as t on t.test = f.test
where f.last_outcome = 'pass'
