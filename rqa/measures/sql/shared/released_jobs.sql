-- Jobs that were released, of which all diagnostic runs are known.
-- A row is one job closed with the disposition asked for.
-- Parameters: as_of date, jobs closed later are left out; index_disposition of the jobs.
-- Not counted: jobs of which a run was refused at load, as nobody knows what it would have said.
create or replace macro released_jobs(as_of, index_disposition) as table
select *
from jobs
where
    disposition = index_disposition and closed_on <= as_of
    and job_id not in (select job_id from refused where table_name = 'diagnostics' and job_id is not null)
