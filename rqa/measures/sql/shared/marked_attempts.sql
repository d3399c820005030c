-- Attempts at steps with what the rest of the job's log says of them.
-- A row is one attempt: what the log says of it, and two marks that only first attempts have. reworked: its place in the
-- job was worked on again (an attempt beyond the first that was not skipped); up_to_failure: it passed or failed, and no
-- first attempt at an earlier place of the job failed.
-- Parameters: none. Not counted: nothing.
create or replace view marked_attempts as
select
    s.job_id, s.step_seq, s.attempt, s.step, s.outcome, s.technician, s.bench, s.tool, s.done_on,
    s.attempt = 1 and a.job_id is not null as reworked,
    s.attempt = 1 and s.outcome in ('pass', 'fail') and (f.job_id is null or s.step_seq <= f.step_seq) as up_to_failure
from steps as s
left join (
    select distinct job_id, step_seq from steps where attempt > 1 and outcome <> 'skipped'
) as a on a.job_id = s.job_id and a.step_seq = s.step_seq
left join (
    select job_id, min(step_seq) as step_seq from steps where attempt = 1 and outcome = 'fail' group by job_id
) as f on f.job_id = s.job_id
