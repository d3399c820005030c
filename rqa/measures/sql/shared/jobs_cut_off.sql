-- Repaired jobs closed by a day, with a step dated later, and what was known of them on that day.
-- A row is one job: its site, model, procedure, job_technician, billing, closed_on, linked and elapsed_days as in job_turns;
-- judged, first_bench and last_bench as there, but of the steps until the day alone.
-- Parameters: as_of date: jobs closed later and steps dated later are left out.
-- Not counted: jobs that are not repaired; jobs without a later step, of which job_turns tells the same.
create or replace macro jobs_cut_off(as_of) as table
select
    t.job_id, t.site, t.model, t.procedure, t.job_technician, t.billing, t.closed_on, t.linked, t.elapsed_days,
    coalesce(bool_or(r.phase is not null), false) as judged,
    case when bool_or(r.phase is not null) then min(o.bench) end as first_bench,
    case when bool_or(r.phase is not null) then max(o.bench) end as last_bench
from job_turns as t
left join job_turns as o on o.job_id = t.job_id and coalesce(o.done_on <= as_of, true)
left join record_steps as r on r.record = o.record
where t.turn = 1 and t.disposition = 'repaired' and t.closed_on <= as_of and t.settled_on > as_of
group by all
