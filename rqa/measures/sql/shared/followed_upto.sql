-- How index jobs were followed up to a day after closing, and how that ended.
-- A row is one index job, as in followed_jobs. day: followed_days, or the day after last_day where it is more; until_then:
-- the outcome, or 'followed' where it came after last_day.
-- Parameters: as_of date, what comes later is left out; last_day: days since closing; index_disposition of the index jobs.
-- Not counted: as in followed_jobs.
create or replace macro followed_upto(as_of, last_day, index_disposition) as table
select
    *,
    least(followed_days, last_day + 1) as day,
    case when followed_days > last_day then 'followed' else outcome end as until_then
from followed_jobs(as_of, index_disposition)
