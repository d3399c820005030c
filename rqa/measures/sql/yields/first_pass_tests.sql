-- First runs of diagnostics by outcome, from the kept counts.
-- A row is one group. exposures = passed + failed; unchecked = aborted.
-- Parameters: none. Not counted: later runs.
-- Grouped by: month, job, station, test of c.
select
    /* groups: */ c.test as test, /* :groups */
    cast(coalesce(sum(c.exposures), 0) as bigint) as exposures,
    cast(coalesce(sum(c.passed), 0) as bigint) as passed, cast(coalesce(sum(c.failed), 0) as bigint) as failed,
    cast(coalesce(sum(c.aborted), 0) as bigint) as unchecked
from test_counts as c
where /* filters: */ true /* :filters */
group by all order by all
