-- What is known of one job, and of what it returned with.
-- A row is the job, up to $as_of: its own columns; disposition 'open' while it was not closed. returned_on, days, class, found_then
-- and return_job_id: of its return; came_back_from and after: the job it is the return of, and the days since that was closed.
-- Parameters: $job, its id; $as_of date: what comes later is left out.
-- Not counted: a job opened later.
select
    j.job_id, j.unit_id, j.site, j.model, j.procedure, j.opened_on,
    case when j.closed_on <= $as_of then j.closed_on end as closed_on,
    case when j.closed_on <= $as_of then j.disposition else 'open' end as disposition,
    j.complaint, case when j.closed_on <= $as_of then j.found end as found, j.labour_minutes,
    l.return_opened_on as returned_on, l.elapsed_days as days, l.class, b.found as found_then, l.return_job_id,
    f.job_id as came_back_from, f.elapsed_days as after, f.class as came_as, j.technician
from jobs as j
left join links as l on l.job_id = j.job_id and l.return_opened_on <= $as_of
left join jobs as b on b.job_id = l.return_job_id
left join links as f on f.return_job_id = j.job_id
where j.job_id = $job and j.opened_on <= $as_of
order by all
