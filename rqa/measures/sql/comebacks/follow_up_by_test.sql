-- How long index jobs were followed and how that ended, by what their diagnostics names: test, station.
-- A row is one group, day since closing and outcome, as in follow_up.sql; a job counts once in each group its diagnostics
-- names, so groups overlap and do not add up.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without diagnostics; retirements as in follow_up.sql.
with
-- one row an index job and group
named as (
    select distinct
        l.job_id, l.closed_on, l.elapsed_days, l.class, r.retired_on,
        /* groups: */ d.test as test, /* :groups */
    from links as l
    join diagnostics as d on d.job_id = l.job_id
    left join retirements as r
        on r.unit_id = l.unit_id and r.retired_on >= l.closed_on and r.retired_on <= $as_of
    where l.disposition = $disposition and l.closed_on <= $as_of and /* filters: */ true /* :filters */
),
-- the same with how and when it ended
ended as (
    select
        /* names: */ test, /* :names */
        case
            when elapsed_days <= date_diff('day', closed_on, $as_of) then elapsed_days
            else date_diff('day', closed_on, coalesce(retired_on, $as_of))
        end as day,
        case
            when elapsed_days <= date_diff('day', closed_on, $as_of) then class
            when retired_on is not null then 'retired'
            else 'followed'
        end as outcome
    from named
)
select
    /* names: */ test, /* :names */
    cast(least(day, $upto + 1) as bigint) as day,
    case when day > $upto then 'followed' else outcome end as outcome,
    cast(count(*) as bigint) as jobs
from ended
group by all
order by all
