-- Jobs that the store does not have, though logs or parts lists name them.
-- A row is one such job: job_id. Working table of a load; not kept. Not counted: how many rows name them.
select distinct job_id
from (
    select job_id from steps
    union all
    select job_id from diagnostics
    union all
    select job_id from parts
) as named
where job_id not in (select job_id from jobs)
order by job_id
