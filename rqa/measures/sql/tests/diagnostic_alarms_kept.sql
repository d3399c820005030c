-- What failed first runs turned out to be, from what is kept: a fault worked on, or nothing found.
-- A row is one group, as in diagnostic_alarms.sql.
-- Parameters: $as_of date: jobs closed later are left out, and no run or attempt may be.
-- Not counted: as in diagnostic_alarms.sql.
-- Grouped by: month, week of day d.failed_on; job of d or 'unknown'; station as coalesce(d.failed_station, 'unknown');
--   test of d.
with
-- one row a fail, and whether it ended as if nothing had been wrong
fails as (
    select *, last_outcome = 'pass' or disposition = 'no_fault_found' as cleared
    from unclean_tests
    where failed and closed_on <= $as_of and disposition not in ('open', 'cancelled')
)
select
    /* groups: */ d.test as test, /* :groups */
    cast(count(*) as bigint) as fails, cast(count(*) filter (where d.confirmed) as bigint) as confirmed,
    cast(count(*) filter (where not d.confirmed and not d.untimed and d.cleared) as bigint) as nothing_found,
    cast(count(*) filter (where not d.confirmed and (d.untimed or not d.cleared)) as bigint) as undecided
from fails as d
where /* filters: */ true /* :filters */
group by all order by all
