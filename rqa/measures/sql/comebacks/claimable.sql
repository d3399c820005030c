-- Come-backs of which another may bear the cost: whoever gave the unit its warranty, or supplied a part that failed again.
-- A row is one come-back and ground. ground: 'unit under warranty', where the return is billed so; 'part fitted again', where
-- the return fitted a part of a number that the index job had fitted: part_no, lot of the first one, part_cost of the second.
-- A come-back without a ground has one row, of ground null. billed: the return's billing is given; listed: the index job has
-- parts.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: month, week of day l.return_opened_on; job of l or 'unknown'.
with
-- one row a come-back
back as (
    select l.*, b.billing as back_billing, l.job_id in (select job_id from parts) as listed
    from links as l
    join jobs as b on b.job_id = l.return_job_id
    where l.disposition = $disposition and l.elapsed_days <= $window and l.return_opened_on <= $as_of
),
-- one row a come-back, part number and lot that was fitted again
again as (
    select x.job_id, p.part_no, p.lot, max(q.unit_cost) as part_cost
    from back as x
    join parts as p on p.job_id = x.job_id
    join parts as q on q.job_id = x.return_job_id and q.part_no = p.part_no
    group by all
),
-- one row a come-back and ground
grounds as (
    select job_id, 'unit under warranty' as ground, null as part_no, null as lot, null as part_cost
    from back
    where back_billing = 'warranty'
    union all
    select job_id, 'part fitted again', part_no, lot, part_cost from again
)
select
    /* groups: */ l.model as model, /* :groups */
    l.job_id, l.unit_id, l.site as at_site, l.model as of_model, l.closed_on, l.return_job_id, l.return_opened_on as opened_on,
    cast(l.elapsed_days as bigint) as days_out, l.class, g.ground, g.part_no, g.lot, cast(g.part_cost as double) as part_cost,
    l.back_billing is not null as billed, l.listed
from back as l
left join grounds as g on g.job_id = l.job_id
where /* filters: */ true /* :filters */
order by all
