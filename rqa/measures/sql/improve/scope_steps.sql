-- In how many jobs in the scope of an action its steps can be seen.
-- A row is one group. logged: closed jobs with a step log; declared: those of them whose procedure has one of $steps; did:
-- those in which one of $steps was done.
-- Parameters: $steps list of steps; $as_of date, jobs closed and steps done later are left out.
-- Not counted: skipped steps.
-- Grouped by: job of j or 'unknown'.
with
-- one row a job with a step log: whether one of the steps was done
logs as (
    select job_id, bool_or(outcome <> 'skipped' and list_contains($steps::varchar[], step)) as did
    from attempts_until($as_of)
    group by job_id
),
-- one row a procedure that has one of the steps
described as (
    select distinct procedure from procedures where list_contains($steps::varchar[], step)
)
select
    /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
    cast(count(*) as bigint) as logged,
    cast(count(d.procedure) as bigint) as declared,
    cast(count(*) filter (where g.did) as bigint) as did
from jobs as j
join logs as g on g.job_id = j.job_id
left join described as d on d.procedure = j.procedure
where j.disposition <> 'open'
  and j.closed_on <= $as_of
  and /* filters: */ true /* :filters */
group by all order by all
