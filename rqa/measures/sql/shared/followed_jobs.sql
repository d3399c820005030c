-- How long index jobs were followed, and how that ended.
-- A row is one index job closed by the day. ended: 'returned' (its return was opened by the day), 'retired' (its unit left
-- service by the day without one) or 'in service'; ended_on: the day of that, null in service; followed_days: from closing
-- until then, or until the day; outcome: the class of a come-back, 'retired' or 'followed'.
-- Parameters: as_of date, what comes later is left out; index_disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out. A retirement before the closing, or before a return that was seen, is
-- contradicted by it and counts as none.
create or replace macro followed_jobs(as_of, index_disposition) as table
select
    l.*,
    case
        when l.return_opened_on <= as_of then 'returned' when r.retired_on is not null then 'retired' else 'in service'
    end as ended,
    case when l.return_opened_on <= as_of then l.return_opened_on else r.retired_on end as ended_on,
    case
        when l.return_opened_on <= as_of then l.elapsed_days
        else date_diff('day', l.closed_on, coalesce(r.retired_on, as_of))
    end as followed_days,
    case
        when l.return_opened_on <= as_of then l.class when r.retired_on is not null then 'retired' else 'followed'
    end as outcome
from links as l
left join retirements as r on r.unit_id = l.unit_id and r.retired_on >= l.closed_on and r.retired_on <= as_of
where l.disposition = index_disposition and l.closed_on <= as_of
