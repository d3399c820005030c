-- Index jobs of units that have left service; made anew by each load.
-- A row is one index job closed up to the day on which its unit left service, with its own columns, elapsed_days and class of its
-- return, and retired_on.
-- Not counted: what keep_links.sql leaves out, and jobs closed later. Reads links.
select
    l.job_id, l.disposition, l.closed_on, l.elapsed_days, l.class, l.site, l.model, l.procedure, l.technician, l.billing,
    r.retired_on
from links as l
join retirements as r on r.unit_id = l.unit_id
where l.closed_on <= r.retired_on
order by l.job_id
