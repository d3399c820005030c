-- Index jobs one by one, as the questions about follow-up count them.
-- A row is one index job and group, as in followed_upto: a job stands once in each group that its step log, diagnostics or
-- parts list names. day: days since closing on which its follow-up ended, $upto + 1 where it went on beyond $upto;
-- returned: it came back by then, as came_as; retired: its unit left service; followed: neither; censored: one of these two.
-- age: calendar months from the closing to the return that ended it.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: as in followed_upto; by step log, diagnostics or parts list, jobs without one.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; step of s; bench of s or 'unknown';
--   tool of s or 'unknown'; phase of p or 'unknown'; test of d; station of d or 'unknown'; part_no of f; lot of f or
--   'unknown'.
select distinct
    /* groups: */ l.model as model, /* :groups */
    l.job_id, cast(l.day as bigint) as day,
    l.until_then not in ('retired', 'followed') as returned,
    l.until_then = 'retired' as retired,
    l.until_then = 'followed' as followed,
    l.until_then in ('retired', 'followed') as censored,
    case when l.ended = 'returned' then date_diff('month', l.closed_on, l.ended_on) end as age,
    case when l.until_then not in ('retired', 'followed') then l.until_then end as came_as
from followed_upto($as_of, $upto, $disposition) as l
/* if step or bench or tool or phase: */ join steps as s on s.job_id = l.job_id /* :if step or bench or tool or phase */
/* if phase: */
left join declared_steps as p on p.procedure = l.procedure and p.step = s.step
/* :if phase */
/* if test or station: */ join diagnostics as d on d.job_id = l.job_id /* :if test or station */
/* if part_no or lot: */ join parts as f on f.job_id = l.job_id /* :if part_no or lot */
where /* filters: */ true /* :filters */
order by all
