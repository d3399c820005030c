-- The first day on which a job of the kinds asked about was closed: where their log begins.
-- A row is one group. first_on: that day, null where nothing was closed.
-- Parameters: $as_of date up to which jobs were closed.
-- Not counted: jobs still open and jobs without a unit, which no come-back can be linked to.
-- Grouped by: job of c.
select
    /* groups: */ c.model as model, /* :groups */
    min(c.closed_on) as first_on
from comeback_counts as c
where c.closed_on <= $as_of and /* filters: */ true /* :filters */
group by all order by all
