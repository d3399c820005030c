-- What each come-back cost, as comeback_costs.sql counts it.
-- A row is one come-back, told by its index job; cents: labour, parts and freight of its return, and the index job's own where
-- that was goodwill, in hundredths of the currency; null where it is not known. standing: 'known', or why it is not.
-- Parameters: $window days, $as_of date, $disposition of the index jobs, $rate of labour an hour (0: no labour in the cost).
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: month, week of day l.return_opened_on; site, model, procedure, billing of l or 'unknown'; class of l;
--   found as case when l.class in ('repeat', 'workmanship', 'new_fault') then l.found else '' end.
-- The steps: those of comeback_costs.sql.
select
    /* groups: */ l.model as model, /* :groups */
    l.job_id, cast(l.cents as bigint) as cents, l.standing,
    l.standing = 'known' as known, l.standing = 'still_open' as still_open, l.standing = 'no_costs' as no_costs,
    l.standing = 'no_labour' as no_labour, l.standing = 'no_parts' as no_parts, l.standing = 'no_freight' as no_freight
from summed as l
where /* filters: */ true /* :filters */
order by all
