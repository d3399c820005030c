-- Index jobs and their returns.
-- A row is one closed job with disposition repaired or no_fault_found; its return is the next job on the unit that was
-- opened at or after its closing, whatever that job's disposition but cancelled. elapsed_days counts calendar days.
-- class: no_fault_found, unknown, repeat, workmanship, new_fault, in that order of precedence; null without a return.
-- Not counted: cancelled, open and overlapping jobs. Reads job_sequence, overlapping_jobs, steps, procedures.
with
-- one row a unit whose jobs must be put in order again once the overlapping ones are out
mixed_units as (
    select distinct unit_id from overlapping_jobs
),
-- one row a job on the other units: the next job is the return
straight as (
    select
        job_id, unit_id, model, site, procedure, technician, billing, disposition, complaint, found, closed_at, closed_on,
        next_job_id, next_opened_on, next_disposition, next_found
    from job_sequence
    where unit_id not in (select unit_id from mixed_units)
),
-- one row a job on a mixed unit that overlaps no other, with the next such job
mended as (
    select
        job_id, unit_id, model, site, procedure, technician, billing, disposition, complaint, found, closed_at, closed_on,
        lead(job_id) over unit_order as next_job_id,
        lead(opened_on) over unit_order as next_opened_on, lead(disposition) over unit_order as next_disposition,
        lead(found) over unit_order as next_found
    from (
        select s.*, j.opened_on
        from job_sequence as s
        join jobs as j on j.job_id = s.job_id
        where s.unit_id in (select unit_id from mixed_units) and s.job_id not in (select job_id from overlapping_jobs)
    ) as alone
    window unit_order as (partition by unit_id order by opened_at, closed_at nulls last, job_id)
),
-- one row an index job
closed_jobs as (
    select * from straight where disposition in ('repaired', 'no_fault_found') and closed_at is not null
    union all
    select * from mended where disposition in ('repaired', 'no_fault_found') and closed_at is not null
),
-- one row an index job and step of its procedure that touches another subsystem, the one found at fault on return
suspects as (
    select distinct i.job_id, p.step
    from closed_jobs as i
    join procedures as p on p.procedure = i.procedure
    where i.next_job_id is not null
      and i.next_disposition <> 'no_fault_found'
      and i.next_found is not null
      and (coalesce(i.found, i.complaint) is null or i.next_found <> coalesce(i.found, i.complaint))
      and list_contains(p.subsystems, i.next_found)
),
-- one row an index job that really did such a step
touched as (
    select distinct s.job_id
    from steps as s
    join suspects as x on x.job_id = s.job_id and x.step = s.step
    where s.outcome <> 'skipped'
)
select
    i.job_id, i.unit_id, i.model, i.site, i.procedure, i.technician, i.billing, i.disposition, i.closed_on,
    cast(date_trunc('month', i.closed_on) as date) as closed_month,
    i.next_job_id as return_job_id,
    i.next_opened_on as return_opened_on,
    cast(date_diff('day', i.closed_on, i.next_opened_on) as bigint) as elapsed_days,
    case
        when i.next_job_id is null then null
        when i.next_disposition = 'no_fault_found' then 'no_fault_found'
        when i.next_found is null then 'unknown'
        when i.next_found = coalesce(i.found, i.complaint) then 'repeat'
        when t.job_id is not null then 'workmanship'
        else 'new_fault'
    end as class
from closed_jobs as i
left join touched as t on t.job_id = i.job_id
