-- What failed first runs turned out to be: a fault worked on, or nothing found.
-- A row is one group. fails: tests of closed jobs whose first run that was not aborted failed, each in one of: confirmed
-- (afterwards a step attempt failed, or was one beyond the first, or was at a step that touches the subsystem the test covers),
-- nothing_found (none of these, and the test passed in the end or the job was closed as no_fault_found), undecided (neither, or
-- the job has a step attempt without any time and nothing confirms the fault).
-- A fail belongs to its station and day.
-- Parameters: $as_of date: later runs and attempts are left out, and jobs closed later.
-- Not counted: jobs that are open or cancelled; skipped steps.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
with
-- one row a fail, with how the test ended
fails as (
    select
        f.job_id, f.test, f.run, f.run_at, f.run_on, f.station,
        coalesce(max_by(n.outcome, n.run), 'fail') as last_outcome
    from failed_first_runs($as_of) as f
    join jobs as j on j.job_id = f.job_id
    left join (
        select job_id, test, run, outcome from runs_until($as_of) where run > 1
    ) as n on n.job_id = f.job_id and n.test = f.test and n.run > f.run
    where j.closed_on <= $as_of and j.disposition not in ('open', 'cancelled')
    group by all
),
-- one row a fail: what the step log says
found_out as (
    select
        f.job_id, f.test,
        bool_or(
            coalesce(
                coalesce(s.ended_at, s.started_at) > f.run_at
                and (s.outcome = 'fail' or s.attempt > 1 or p.subsystem is not null),
                false
            )
        ) as confirmed,
        bool_or(s.job_id is not null and coalesce(s.ended_at, s.started_at) is null) as untimed
    from fails as f
    join jobs as j on j.job_id = f.job_id
    left join tests as t on t.test = f.test
    left join steps as s
        on s.job_id = f.job_id and s.outcome <> 'skipped' and coalesce(s.done_on <= $as_of, true)
    left join step_subsystems as p on p.procedure = j.procedure and p.step = s.step and p.subsystem = t.subsystem
    group by f.job_id, f.test
),
-- one row a fail and what it turned out to be
judged as (
    select
        f.*,
        case
            when g.confirmed then 'confirmed'
            when not g.untimed and (f.last_outcome = 'pass' or j.disposition = 'no_fault_found') then 'nothing_found'
            else 'undecided'
        end as proved
    from fails as f
    join jobs as j on j.job_id = f.job_id
    join found_out as g on g.job_id = f.job_id and g.test = f.test
)
select
    /* groups: */ d.test as test, /* :groups */
    cast(count(*) as bigint) as fails,
    cast(count(*) filter (where d.proved = 'confirmed') as bigint) as confirmed,
    cast(count(*) filter (where d.proved = 'nothing_found') as bigint) as nothing_found,
    cast(count(*) filter (where d.proved = 'undecided') as bigint) as undecided
from judged as d
join jobs as j on j.job_id = d.job_id
where /* filters: */ true /* :filters */
group by all order by all
