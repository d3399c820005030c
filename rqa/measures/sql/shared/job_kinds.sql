-- The kind of work of each job, and what stands in where a log row has no technician or day.
-- A row is one job: job_id, technician, day (of its closing, else of its opening), kind (of kinds_of_work).
-- Parameters: none. Not counted: nothing.
create or replace view job_kinds as
select j.job_id, j.technician, coalesce(j.closed_on, j.opened_on) as day, k.kind
from jobs as j
join kinds_of_work as k
    on k.kind > 0 and k.site = coalesce(j.site, 'unknown') and k.model = coalesce(j.model, 'unknown')
    and k.procedure = coalesce(j.procedure, 'unknown') and k.billing = coalesce(j.billing, 'unknown')
