-- The tests that are usual for kinds of work (procedure, model), from what is kept of each job, and when they were.
-- A row is one kind of work and usual test: of_model, of_procedure, test, first_on and last_on, the days on which the first and
-- the last released job with that test was closed. A test is usual if it was run (first runs count) on at least the share
-- usual_share of the jobs of that kind released on these days and between, of at least min_jobs.
-- Parameters: as_of date, later closings are left out, and no run may be; index_disposition of the released jobs; min_jobs;
-- usual_share. Not counted: jobs of which a run was refused at load, as in released_jobs.
-- Merged: sums of jobs in sets, then the rest.
create or replace macro usual_spans(as_of, index_disposition, min_jobs, usual_share) as table
with
-- one row a kind of work, closing day and set of tests
sets as (
    select model, procedure, closed_on, tests, count(*) as jobs
    from job_logs
    where disposition = index_disposition and closed_on <= as_of
      and job_id not in (select job_id from refused where table_name = 'diagnostics' and job_id is not null)
    group by model, procedure, closed_on, tests
),
-- one row a kind of work and day
days as (
    select model, procedure, closed_on, sum(jobs) as jobs
    from sets
    group by model, procedure, closed_on
),
-- one row a kind of work and test: from when to when it was run, and in how many jobs
spans as (
    select model, procedure, test, min(closed_on) as first_on, max(closed_on) as last_on, sum(jobs) as run_in
    from (select model, procedure, closed_on, unnest(string_split(tests, chr(31))) as test, jobs from sets) as each_test
    group by model, procedure, test
)
select model as of_model, procedure as of_procedure, test, first_on, last_on
from (
    select s.*, sum(d.jobs) as jobs
    from spans as s
    join days as d on d.model = s.model and d.procedure = s.procedure and d.closed_on between s.first_on and s.last_on
    group by all
) as released_then
where jobs >= min_jobs and run_in >= usual_share * jobs
