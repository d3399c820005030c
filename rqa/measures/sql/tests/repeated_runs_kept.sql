-- Two runs of one test on one job, one right after the other and nothing done in between, from what is kept: what both said.
-- A row is one group, unit, station of the first and of the second run, and their outcomes, as in repeated_runs.sql.
-- Parameters: $unlogged text[]: sites that keep no step log.
-- Not counted: as in repeated_runs.sql.
-- Grouped by: month, week of day d.before_on; job of d or 'unknown'; station as coalesce(d.before_station, 'unknown');
--   test of d.
select
    /* groups: */ d.test as test, /* :groups */
    d.unit, coalesce(d.before_station, 'unknown') as first_station, coalesce(d.station, 'unknown') as second_station,
    d.before_outcome as first_outcome, d.outcome as second_outcome,
    cast(count(*) as bigint) as pairs,
    cast(count(d.apart) as bigint) as measured,
    cast(coalesce(sum(d.apart), 0) as double) as difference,
    cast(coalesce(sum(d.apart * d.apart), 0) as double) as squares
from unclean_runs as d
where d.paired and not list_contains($unlogged::varchar[], coalesce(d.site, 'unknown')) and /* filters: */ true /* :filters */
group by all order by all
