-- Come-backs of index jobs by what their step log names: step, bench, tool, phase.
-- A row is one group and class of come-back (null: none seen); a job counts once in each group its log names, so groups
-- overlap and do not add up. Counts as in comebacks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs without a step log; steps that were skipped are named all the same.
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
        l.job_id, l.closed_on, l.elapsed_days, l.class,
        /* groups: */ s.step as step, /* :groups */
    from links as l
    join steps as s on s.job_id = l.job_id
    /* if phase: */ left join phases as p on p.procedure = l.procedure and p.step = s.step /* :if phase */
    where l.disposition = $disposition and l.closed_on <= $as_of and /* filters: */ true /* :filters */
)
select
    /* names: */ step, /* :names */
    class,
    cast(count(*) as bigint) as jobs,
    cast(count(*) filter (where date_diff('day', closed_on, $as_of) >= $window) as bigint) as matured,
    cast(count(*) filter (
        where date_diff('day', closed_on, $as_of) >= $window and elapsed_days <= $window
    ) as bigint) as returned
from named
group by all
order by all
