-- How long index jobs were followed and how that ended, by what their step log names: step, bench, tool, phase.
-- A row is one group, day since closing and outcome, as in follow_up.sql; a job counts once in each group its log
-- names, so groups overlap and do not add up.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a step log; retirements as in follow_up.sql.
with
-- one row a procedure and step: the phase of its first place in the procedure
phases as (
    select procedure, step, min_by(phase, step_seq) as phase
    from procedures
    group by procedure, step
),
-- one row an index job and group
named as (
    select distinct
        l.job_id, l.closed_on, l.elapsed_days, l.class, r.retired_on,
        /* groups: */ s.step as step, /* :groups */
    from links as l
    join steps as s on s.job_id = l.job_id
    /* if phase: */ left join phases as p on p.procedure = l.procedure and p.step = s.step /* :if phase */
    left join retirements as r
        on r.unit_id = l.unit_id and r.retired_on >= l.closed_on and r.retired_on <= $as_of
    where l.disposition = $disposition and l.closed_on <= $as_of and /* filters: */ true /* :filters */
),
-- the same with how and when it ended
ended as (
    select
        /* names: */ step, /* :names */
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
    /* names: */ step, /* :names */
    cast(least(day, $upto + 1) as bigint) as day,
    case when day > $upto then 'followed' else outcome end as outcome,
    cast(count(*) as bigint) as jobs
from ended
group by all
order by all
