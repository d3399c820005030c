-- First checks of jobs that the store does not hold: their job was refused, or never sent, but what was logged on it counts.
-- A row is one group. checks: first attempts at steps, or first runs of diagnostics, that passed or failed; jobs: how many
-- job ids they name.
-- Parameters: $as_of date: what is dated later is left out; $log: 'steps' or 'diagnostics'.
-- Not counted: checks of jobs that the store holds.
-- Grouped by: month, week of day s.day; step, test of s; bench, tool, station of s or 'unknown'.
select
    /* groups: */ s.step as step, /* :groups */
    cast(count(*) as bigint) as checks, cast(count(distinct s.job_id) as bigint) as jobs
from first_checks($as_of, $log) as s anti join jobs as j on j.job_id = s.job_id
where /* filters: */ true /* :filters */
group by all order by all
