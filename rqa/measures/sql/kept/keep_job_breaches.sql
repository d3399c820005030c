-- Departures of repaired jobs' step logs from their procedure, with what the job is and what became of it.
-- A row is one job, kind and step, as in breaches_by_rows when all is logged. first_of_kind: true in one row of a job and kind;
-- first_of_step, first_of_job: true in one row of a job and step, and of a job, of the breaches but the two of the battery's
-- order. The job's site, model, procedure, job_technician, billing, closed_on, linked, elapsed_days, settled_on, first_bench
-- and last_bench are as in job_turns.
-- Not counted: as in breaches_by_rows. Reads job_turns.
with
-- one row a job, kind and step
breaches as (
    select *, kind not in ('paired', 'isolated_late', 'reconnected_early') as averaged
    from breaches_by_rows(date '9999-12-31', null)
)
select
    b.job_id, b.kind, b.step,
    row_number() over (partition by b.job_id, b.kind order by b.step) = 1 as first_of_kind,
    b.averaged and row_number() over (partition by b.job_id, b.averaged, b.step order by b.kind) = 1 as first_of_step,
    b.averaged and row_number() over (partition by b.job_id, b.averaged order by b.kind, b.step) = 1 as first_of_job,
    t.site, t.model, t.procedure, t.job_technician, t.billing, t.closed_on, t.linked, t.elapsed_days,
    t.settled_on, t.first_bench, t.last_bench
from breaches as b
join job_turns as t on t.job_id = b.job_id and t.turn = 1
order by t.closed_on, b.job_id, b.kind, b.step
