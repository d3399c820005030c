-- Index jobs that came back, with what was found and what each of both jobs gave of its cost.
-- A row is one index job with a return, with its own columns, class, elapsed_days and return_opened_on; repaired: what was found
-- at fault in it, else its complaint. back_site, back_complaint, back_found, back_closed_on: of the return; back_minutes, back_parts, back_freight: its labour, the cost of its parts and freight, as given;
-- own_minutes, own_parts, own_freight: those of the index job. The cost of parts is that of the job, else the sum of its parts
-- list; null where a line of that has no price.
-- Not counted: what keep_links.sql leaves out. Reads links.
with
-- one row a job whose cost may count
needed as (
    select return_job_id as job_id from links where return_job_id is not null
    union
    select job_id from links where return_job_id is not null and billing = 'goodwill'
),
-- one row a job with a parts list: its cost, null where a line has no price
lists as (
    select
        p.job_id,
        case when count(*) = count(p.quantity * p.unit_cost) then sum(p.quantity * p.unit_cost) end as parts_cost
    from parts as p
    join needed as n on n.job_id = p.job_id
    group by p.job_id
)
select
    l.job_id, l.unit_id, l.return_job_id, l.site, l.model, l.procedure, l.technician, l.billing, l.disposition, l.closed_on, l.class, l.elapsed_days,
    l.return_opened_on,
    coalesce(i.found, i.complaint) as repaired,
    b.site as back_site, b.complaint as back_complaint, b.found as back_found, b.closed_on as back_closed_on, b.labour_minutes as back_minutes,
    coalesce(b.parts_cost, q.parts_cost) as back_parts, b.freight_cost as back_freight,
    i.labour_minutes as own_minutes, coalesce(i.parts_cost, o.parts_cost) as own_parts, i.freight_cost as own_freight
from links as l
join jobs as b on b.job_id = l.return_job_id
join jobs as i on i.job_id = l.job_id
left join lists as q on q.job_id = l.return_job_id
left join lists as o on o.job_id = l.job_id
