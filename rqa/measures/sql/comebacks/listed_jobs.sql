-- The jobs of a list: what each is, how it came back, and what the list says of it.
-- A row is a row of the list. unit_id to disposition are the job's own, null where the store has no such job; closed_on and
-- disposition are those known on $as_of (disposition 'open' before). repaired: what was found at fault in it, else its
-- complaint. days_out, class, found and return_job_id: of its return, where that was opened by $as_of; found: the subsystem found
-- at fault on it, 'nothing' where it found no fault. lots: the part_no and lot of what was fitted in the job.
-- Parameters: $as_of date.
-- Not counted: what the list leaves out.
with
-- one row a case, by the file that lists them
listed as (
/* listed: */ select job_id from jobs /* :listed */
)
select
    x.job_id, j.unit_id, j.site, j.model, j.procedure, j.opened_on,
    case when j.closed_on <= $as_of then j.closed_on end as closed_on,
    case when j.closed_on <= $as_of or j.closed_on is null then j.disposition else 'open' end as disposition,
    case when j.closed_on <= $as_of then coalesce(j.found, j.complaint) else j.complaint end as repaired,
    l.elapsed_days as days_out, l.class,
    case when l.class = 'no_fault_found' then 'nothing' else b.found end as found,
    l.return_job_id, replace(replace(t.lots, chr(31), '; '), chr(30), ' ') as lots, j.technician,
    x.* exclude (/* without: */ job_id /* :without */)
from listed as x
left join jobs as j on j.job_id = x.job_id
left join job_turns as t on t.job_id = x.job_id and t.turn = 1
left join links as l on l.job_id = x.job_id and l.return_opened_on <= $as_of
left join jobs as b on b.job_id = l.return_job_id
where /* kept: */ true /* :kept */
order by all
