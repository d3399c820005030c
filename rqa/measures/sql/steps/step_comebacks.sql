-- Come-backs of matured index jobs by what happened at a step of theirs.
-- A row is one group, outcome of the first attempt at the step, whether it was tried again (reworked: an attempt beyond
-- the first that was not skipped), and class of come-back (null: none seen). jobs: matured index jobs, one for each
-- place at which the job has the step; returned: those back within $window days.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of; steps whose first attempt was not logged.
-- Grouped by: month, week of c; job of c or 'unknown'; step of p; bench of c or 'unknown'; tool of p or 'unknown'.
with
-- one row a record of turns of work and what became of the jobs
matured_turns as (
    select
        /* asked: */ t.month, t.week, t.site, t.model, t.procedure, t.job_technician as technician, t.billing, t.bench, /* :asked */
        t.record, t.class, count(*) as turns, count(*) filter (where t.returned) as returned
    from index_turns($as_of, $window, $disposition) as t
    where t.matured and t.record is not null
    group by all
)
select
    /* groups: */ p.step as step, /* :groups */
    p.outcome as outcome,
    p.reworked as reworked,
    c.class,
    cast(sum(c.turns * p.attempts) as bigint) as jobs,
    cast(sum(c.returned * p.attempts) as bigint) as returned
from matured_turns as c
join record_steps as p on p.record = c.record
where p.attempt = 1 and /* filters: */ true /* :filters */
group by all order by all
