-- Index jobs by closing day and days until their return.
-- A row is one combination; jobs counts index jobs; elapsed_days and class are null where no return was seen.
-- Not counted: what is not in links. Reads links.
select
    closed_on, elapsed_days, class, disposition,
    coalesce(site, 'unknown') as site,
    coalesce(model, 'unknown') as model,
    coalesce(procedure, 'unknown') as procedure,
    coalesce(technician, 'unknown') as technician,
    coalesce(billing, 'unknown') as billing,
    cast(count(*) as bigint) as jobs
from links
group by all
order by closed_on, elapsed_days, class, disposition, site, model, procedure, technician, billing
