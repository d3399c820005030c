-- Jobs in the order in which their unit saw them: the one sort that linking needs.
-- A row is one job that was not cancelled, with what the unit's next such job is. Working table of a load; not kept.
-- Not counted: cancelled jobs.
select
    job_id, unit_id, model, site, procedure, technician, billing, disposition, complaint, found,
    opened_at, closed_at, closed_on,
    lead(job_id) over unit_order as next_job_id,
    lead(opened_at) over unit_order as next_opened_at,
    lead(opened_on) over unit_order as next_opened_on,
    lead(disposition) over unit_order as next_disposition,
    lead(found) over unit_order as next_found
from jobs
where disposition <> 'cancelled'
window unit_order as (partition by unit_id order by opened_at, closed_at nulls last, job_id)
