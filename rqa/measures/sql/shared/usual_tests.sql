-- The tests that are usual for each released job's kind of work (procedure, model), and those of them it lacks.
-- A row is one released job with usual tests: needed counts them; missing lists those never run on it, null for none.
-- A test is usual for a kind of work if it was run (first runs count) on at least the share usual_share of its jobs released
-- from the day on which the first job with that test was closed to that of the last one, of at least min_jobs; only jobs
-- closed on these days need it.
-- Parameters: as_of date, later runs and closings are left out; index_disposition of the released jobs; min_jobs;
-- usual_share. Not counted: jobs that need no test; what released_jobs leaves out.
create or replace macro usual_tests(as_of, index_disposition, min_jobs, usual_share) as table
with
-- one row a released job
released as (
    select row_number() over () as place, job_id, model, procedure, closed_on
    from released_jobs(as_of, index_disposition)
),
-- one row a test of a released job whose first run is there
run_first as (
    select r.place, r.model, r.procedure, r.closed_on, d.test
    from first_runs(as_of) as d
    join released as r on r.job_id = d.job_id
),
-- one row a kind of work and day
days as (
    select model, procedure, closed_on, count(*) as jobs
    from released
    group by model, procedure, closed_on
),
-- one row a kind of work, test and day
run_days as (
    select model, procedure, test, closed_on, count(*) as jobs
    from run_first
    group by model, procedure, test, closed_on
),
-- one row a kind of work and test: from when to when it was run, and in how many jobs
spans as (
    select model, procedure, test, min(closed_on) as first_on, max(closed_on) as last_on, sum(jobs) as run_in
    from run_days
    group by model, procedure, test
),
-- the same with how many jobs were released in that time
shares as (
    select s.model, s.procedure, s.test, s.first_on, s.last_on, s.run_in, sum(d.jobs) as jobs
    from spans as s
    join days as d
        on d.model = s.model and d.procedure = s.procedure and d.closed_on between s.first_on and s.last_on
    group by s.model, s.procedure, s.test, s.first_on, s.last_on, s.run_in
),
-- one row a kind of work and usual test
usual as (
    select model, procedure, test, first_on, last_on
    from shares
    where jobs >= min_jobs and run_in >= usual_share * jobs
),
-- one row a kind of work and day: how many tests its jobs need
needs as (
    select d.model, d.procedure, d.closed_on, count(*) as needed
    from days as d
    join usual as u
        on u.model = d.model and u.procedure = d.procedure and d.closed_on between u.first_on and u.last_on
    group by d.model, d.procedure, d.closed_on
),
-- one row a released job with a first run of a usual test: how many
had as (
    select f.place, count(*) as tests
    from run_first as f
    join usual as u
        on u.model = f.model and u.procedure = f.procedure and u.test = f.test
        and f.closed_on between u.first_on and u.last_on
    group by f.place
),
-- one row a released job that needs tests, and whether it seems to lack one, by its first runs
needing as (
    select r.place, r.job_id, r.model, r.procedure, r.closed_on, n.needed, coalesce(h.tests, 0) < n.needed as is_short
    from released as r
    join needs as n on n.model = r.model and n.procedure = r.procedure and n.closed_on = r.closed_on
    left join had as h on h.place = r.place
),
-- one row a job that lacks a usual test: those that were not run at all
lacking as (
    select s.place, list(u.test) as missing
    from needing as s
    join usual as u
        on u.model = s.model and u.procedure = s.procedure and s.closed_on between u.first_on and u.last_on
    where s.is_short and not exists (
        select 1 from runs_until(as_of) as d
        where d.job_id = s.job_id and d.test = u.test
    )
    group by s.place
)
select n.job_id, cast(n.needed as bigint) as needed, k.missing
from needing as n
left join lacking as k on k.place = n.place
