-- Departures of repaired jobs' step logs from their procedure, with what the job is and what became of it.
-- A row is one job, kind and step, with its marks, as in breaches_by_rows when all is logged. The job's site, model,
-- procedure, job_technician, billing, closed_on, linked, elapsed_days, settled_on, first_bench and last_bench are as in
-- job_turns.
-- Not counted: as in breaches_by_rows. Reads job_turns.
select
    b.*, t.site, t.model, t.procedure, t.job_technician, t.billing, t.closed_on, t.linked, t.elapsed_days,
    t.settled_on, t.first_bench, t.last_bench
from breaches_by_rows(date '9999-12-31', null) as b
join job_turns as t on t.job_id = b.job_id and t.turn = 1
order by t.closed_on, b.job_id, b.kind, b.step
