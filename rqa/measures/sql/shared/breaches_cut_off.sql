-- Departures from their procedure of repaired jobs with a step dated after a day, as their step logs stood on that day.
-- A row is one job, kind and step, with its marks, as in breaches_by_rows, and what the job is, as in jobs_cut_off.
-- Parameters: as_of date: jobs closed later and steps dated later are left out.
-- Not counted: as in breaches_by_rows; jobs without a later step, of which job_breaches tells the same.
create or replace macro breaches_cut_off(as_of) as table
select
    b.*, j.site, j.model, j.procedure, j.job_technician, j.billing, j.closed_on, j.linked, j.elapsed_days,
    j.first_bench, j.last_bench
from breaches_by_rows(as_of, as_of) as b
join jobs_cut_off(as_of) as j on j.job_id = b.job_id
