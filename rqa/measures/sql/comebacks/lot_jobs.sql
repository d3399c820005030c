-- Jobs in which a lot of a part was fitted, and what became of them.
-- A row is one closed job. ended: 'came back' (its return was opened up to $as_of), 'left service', 'still out', 'not followed'
-- for a repaired job that overlaps another job of its unit, or 'not repaired'; days: from its closing until that, or until
-- $as_of, null where it is not followed or not repaired; class and return_job_id: of the return.
-- Parameters: $part and $lot; $as_of date: jobs closed later are left out.
-- Not counted: open and cancelled jobs.
with
-- one row a job in which the lot was fitted
fitted as (
    select distinct job_id from fitted_lots where part_no = $part and lot = $lot
)
select
    j.job_id, j.unit_id, j.site, j.model, j.procedure, j.closed_on,
    case l.ended
        when 'returned' then 'came back' when 'retired' then 'left service' when 'in service' then 'still out'
        else case when j.disposition = 'repaired' then 'not followed' else 'not repaired' end
    end as ended,
    cast(l.followed_days as bigint) as days,
    case when l.ended = 'returned' then l.class end as class,
    case when l.ended = 'returned' then l.return_job_id end as return_job_id
from fitted as f
join jobs as j on j.job_id = f.job_id
left join followed_jobs($as_of, 'repaired') as l on l.job_id = f.job_id
where j.closed_on <= $as_of and j.disposition not in ('open', 'cancelled')
order by j.closed_on, j.job_id
