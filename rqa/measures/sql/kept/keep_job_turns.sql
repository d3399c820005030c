-- Jobs by their turns of work: what each turn logged, what the job is and what became of it.
-- A row is one turn: all attempts of a job that have the same technician, bench and day, as logged; or a job without a step
-- log. turn: its number within the job, from 1 on; turns: how many the job has, 1 without a log. record: what was logged, as
-- in record_steps, null without a log; worked: it has an attempt that was not skipped. technician: that of the turn, else of
-- the job; day: that of the turn (done_on), else of the job's closing, else of its opening. Of the job: site, model,
-- procedure, billing, job_technician, disposition, closed_on (null where the store has no such job); linked: it is an index
-- job, elapsed_days and class as in links, return_found: what the job that came back found; settled_on: the last day in its
-- step log; judged: the log has a step that its procedure declares; first_bench, last_bench: in order of text, where it is
-- judged. In order of text with chr(31) between them: tools, those of the turn; lots, those of the parts fitted in the job, each
-- the part_no and lot with chr(30) between them.
-- Not counted: nothing. Reads turn_records, record_steps, links.
with
-- one row a record
records as (
    select record, bool_or(phase is not null) as judged, bool_or(outcome <> 'skipped') as worked,
        string_agg(distinct tool, chr(31) order by tool) as tools
    from record_steps
    group by record
),
-- one row a turn
numbered as (
    select
        t.*, r.judged, r.worked, r.tools,
        row_number() over (partition by t.job_id order by t.done_on, t.technician, t.bench) as turn
    from turn_records as t
    join records as r on r.record = t.record
),
-- one row a job with a log
whole as (
    select
        job_id, count(*) as turns, max(done_on) as settled_on, bool_or(judged) as judged,
        case when bool_or(judged) then min(bench) end as first_bench,
        case when bool_or(judged) then max(bench) end as last_bench
    from numbered
    group by job_id
),
-- one row a job with parts whose lot is known
fitted as (
    select job_id, string_agg(part_no || chr(30) || lot, chr(31) order by part_no, lot) as lots
    from fitted_lots
    group by job_id
)
select
    coalesce(j.job_id, n.job_id) as job_id,
    cast(coalesce(n.turn, 1) as bigint) as turn, cast(coalesce(w.turns, 1) as bigint) as turns,
    n.record, coalesce(n.worked, false) as worked,
    j.site, j.model, j.procedure, j.billing, coalesce(n.technician, j.technician) as technician, n.bench, n.tools, n.done_on,
    coalesce(n.done_on, j.closed_on, j.opened_on) as day,
    j.technician as job_technician, j.disposition, j.closed_on,
    l.job_id is not null as linked, l.elapsed_days, l.class, b.found as return_found,
    w.settled_on, coalesce(w.judged, false) as judged, w.first_bench, w.last_bench, f.lots
from jobs as j
full join numbered as n on n.job_id = j.job_id
left join whole as w on w.job_id = n.job_id
left join links as l on l.job_id = j.job_id
left join jobs as b on b.job_id = l.return_job_id
left join fitted as f on f.job_id = j.job_id
order by closed_on, coalesce(j.job_id, n.job_id), turn
