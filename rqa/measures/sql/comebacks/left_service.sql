-- Matured index jobs whose unit left service within the window without coming back: a rate takes them as not come back.
-- A row is one group. matured: index jobs closed $window days or more before $as_of; returned: those of them whose return
-- was opened within $window days of closing; left_service: those without such a return whose unit is known to have left
-- service less than $window days after closing.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out. A retirement before the closing, or before a return that was seen, is
-- contradicted by it and counts as none.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
select
    /* groups: */ l.model as model, /* :groups */
    cast(count(*) as bigint) as matured,
    cast(count(*) filter (where l.elapsed_days <= $window) as bigint) as returned,
    cast(count(*) filter (where l.ended = 'retired' and l.followed_days < $window) as bigint) as left_service
from followed_jobs($as_of, $disposition) as l
where date_diff('day', l.closed_on, $as_of) >= $window
  and /* filters: */ true /* :filters */
group by all
order by all
