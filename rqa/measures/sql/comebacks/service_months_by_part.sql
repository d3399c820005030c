-- In which month index jobs were closed, and in which their unit came back or left service, by parts fitted: part_no, lot.
-- A row is one group, closing month, month in which it ended and outcome, as in service_months.sql; a job counts once in
-- each group its parts list names, so groups overlap and do not add up.
-- Parameters: $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a part; retirements as in follow_up.sql.
with
-- one row an index job and group
named as (
    select distinct
        l.job_id, l.closed_on, l.elapsed_days, r.retired_on,
        /* groups: */ f.part_no as part_no, f.lot as lot, /* :groups */
    from links as l
    join parts as f on f.job_id = l.job_id
    left join retirements as r
        on r.unit_id = l.unit_id and r.retired_on >= l.closed_on and r.retired_on <= $as_of
    where l.disposition = $disposition and l.closed_on <= $as_of and /* filters: */ true /* :filters */
)
select
    /* names: */ part_no, lot, /* :names */
    cast(date_trunc('month', closed_on) as date) as closed_month,
    cast(date_trunc('month', case
        when elapsed_days <= date_diff('day', closed_on, $as_of) then closed_on + cast(elapsed_days as integer)
        else retired_on
    end) as date) as left_month,
    case
        when elapsed_days <= date_diff('day', closed_on, $as_of) then 'returned'
        when retired_on is not null then 'retired'
        else 'in service'
    end as outcome,
    cast(count(*) as bigint) as jobs
from named
group by all
order by all
