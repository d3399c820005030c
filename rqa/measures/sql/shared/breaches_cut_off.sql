-- Departures from their procedure of repaired jobs with a step dated after a day, as their step logs stood on that day.
-- A row is one job, kind and step, with its marks first_of_kind, first_of_step and first_of_job as in job_breaches, and what
-- the job is as in jobs_cut_off.
-- Parameters: as_of date: jobs closed later and steps dated later are left out.
-- Not counted: as in breaches_by_rows; jobs without a later step, of which job_breaches tells the same.
create or replace macro breaches_cut_off(as_of) as table
with
-- one row a job, kind and step
unsettled as (
    select *, kind not in ('paired', 'isolated_late', 'reconnected_early') as averaged
    from breaches_by_rows(as_of, as_of)
)
select
    b.job_id, b.kind, b.step,
    row_number() over (partition by b.job_id, b.kind order by b.step) = 1 as first_of_kind,
    b.averaged and row_number() over (partition by b.job_id, b.averaged, b.step order by b.kind) = 1 as first_of_step,
    b.averaged and row_number() over (partition by b.job_id, b.averaged order by b.kind, b.step) = 1 as first_of_job,
    j.site, j.model, j.procedure, j.job_technician, j.billing, j.closed_on, j.linked, j.elapsed_days,
    j.first_bench, j.last_bench
from unsettled as b
join jobs_cut_off(as_of) as j on j.job_id = b.job_id
