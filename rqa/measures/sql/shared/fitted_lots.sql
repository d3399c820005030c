-- The lots of parts fitted in each job.
-- A row is one job, part_no and lot. Parameters: none. Not counted: parts whose lot was not written down.
create or replace view fitted_lots as
select distinct job_id, part_no, lot
from parts
where lot is not null
