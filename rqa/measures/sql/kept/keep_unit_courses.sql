-- The course of each unit: its closings as index jobs and its returns, in days.
-- A row is one unit and disposition of index jobs: site, model, procedure, technician and billing of the first of them (by closing
-- day, then id; 'unknown' where none is given); first_on: its closing; closings: the days of all, null where it is the only one;
-- returned_on: the days on which returns of them were opened, null without any.
-- Not counted: what keep_links.sql leaves out. Reads links.
select
    unit_id, disposition,
    min_by(coalesce(site, 'unknown'), row(closed_on, job_id)) as site,
    min_by(coalesce(model, 'unknown'), row(closed_on, job_id)) as model,
    min_by(coalesce(procedure, 'unknown'), row(closed_on, job_id)) as procedure,
    min_by(coalesce(technician, 'unknown'), row(closed_on, job_id)) as technician,
    min_by(coalesce(billing, 'unknown'), row(closed_on, job_id)) as billing,
    min(closed_on) as first_on,
    case when count(*) > 1 then list_sort(list(closed_on)) end as closings,
    list_sort(list(return_opened_on) filter (where return_opened_on is not null)) as returned_on
from links
group by unit_id, disposition
order by unit_id, disposition
