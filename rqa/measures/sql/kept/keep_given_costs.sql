-- Which parts of a cost the jobs of each site give.
-- A row is one site. minutes: jobs with labour minutes; parts: jobs with the cost of their parts, and those with a priced line in
-- their parts list; freight: jobs with freight. Not counted: parts without a job.
with
-- one row a job with a priced line in its parts list
priced as (
    select distinct job_id from parts where quantity * unit_cost is not null
)
select
    j.site,
    cast(count(j.labour_minutes) as bigint) as minutes,
    cast(count(j.parts_cost) + count(p.job_id) as bigint) as parts,
    cast(count(j.freight_cost) as bigint) as freight
from jobs as j
left join priced as p on p.job_id = j.job_id
group by j.site
having count(j.labour_minutes) + count(j.parts_cost) + count(p.job_id) + count(j.freight_cost) > 0
order by j.site
