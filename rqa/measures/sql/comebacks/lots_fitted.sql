-- The lots of parts that were fitted.
-- A row is one part_no and lot; jobs: how many jobs it was fitted in.
-- Parameters: $as_of date: jobs opened later are left out. Not counted: parts whose lot was not written down.
select f.part_no, f.lot, cast(count(*) as bigint) as jobs
from fitted_lots as f
join jobs as j on j.job_id = f.job_id
where j.opened_on <= $as_of
group by all order by all
