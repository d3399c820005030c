-- What come-backs cost: labour, parts and freight of the job that came back, and of the index job where it was goodwill.
-- A part that no job of a site ever gives is not counted there. A row is one group. comebacks: returns opened up to
-- $as_of and within $window days of closing; known: those every counted part of whose cost is known; of these
-- without_labour, without_parts, without_freight: in whose cost this part is not counted. For the known ones, in hundredths of the currency: cents, and of it labour, parts,
-- freight (of the return) and goodwill (of the index job); squares and cubes: sums of powers of each one's cents; largest
-- of them; twice: goodwill cost of index jobs that were themselves come-backs. Of the others: still_open, no_costs
-- (no part is counted at the site), no_labour, no_parts, no_freight, by the first of these that holds of the return or of
-- the goodwill index job; no_rate: those of no_costs whose site gives labour minutes, so that $rate alone is missing.
-- Parameters: $window days, $as_of date, $disposition of the index jobs, $rate of labour an hour (0: no labour in the cost).
-- Not counted: what keep_links.sql leaves out. A month is that in which the unit came back.
-- Grouped by: month, week of day l.return_opened_on; site, model, procedure, billing of l or 'unknown'; class of l;
--   found as case when l.class in ('repeat', 'workmanship', 'new_fault') then l.found else '' end.
with
-- one row a come-back
returns as (
    select l.*, coalesce(l.billing = 'goodwill', false) as is_goodwill
    from links as l
    where l.disposition = $disposition and l.return_opened_on <= $as_of and l.elapsed_days <= $window
),
-- one row a job whose cost counts
needed as (
    select return_job_id as job_id from returns
    union
    select job_id from returns where is_goodwill
),
-- one row a job with a parts list: its cost, null where a line has no price
lists as (
    select
        p.job_id,
        case when count(*) = count(p.quantity * p.unit_cost) then sum(p.quantity * p.unit_cost) end as parts_cost
    from parts as p
    join needed as n on n.job_id = p.job_id
    group by p.job_id
),
-- one row a job with a priced line in its parts list
priced as (
    select distinct job_id from parts where quantity * unit_cost is not null
),
-- one row a site: which parts of a cost any of its jobs gives
given as (
    select
        j.site,
        $rate > 0 and count(j.labour_minutes) > 0 as labour,
        count(j.labour_minutes) > 0 as minutes,
        count(j.parts_cost) + count(p.job_id) > 0 as parts,
        count(j.freight_cost) > 0 as freight
    from jobs as j
    left join priced as p on p.job_id = j.job_id
    group by j.site
),
-- one row a job whose cost counts, in hundredths of the currency; null where it is not known, 0 where it is not counted
costs as (
    select
        j.job_id, j.found,
        j.closed_on is null or j.closed_on > $as_of as still_open,
        g.labour as has_labour, g.minutes as has_minutes, g.parts as has_parts, g.freight as has_freight,
        case when g.labour then cast(round(j.labour_minutes / 60 * $rate * 100) as bigint) else 0 end as labour,
        case when g.parts then cast(round(coalesce(j.parts_cost, s.parts_cost) * 100) as bigint) else 0 end as parts,
        case when g.freight then cast(round(j.freight_cost * 100) as bigint) else 0 end as freight
    from needed as n
    join jobs as j on j.job_id = n.job_id
    join given as g on g.site = j.site
    left join lists as s on s.job_id = j.job_id
),
-- one row a come-back with what it cost
made as (
    select
        r.*,
        b.labour, b.parts, b.freight, b.found, b.has_minutes,
        case when r.is_goodwill then i.labour + i.parts + i.freight else 0 end as goodwill,
        r.is_goodwill and r.job_id in (select return_job_id from returns) as is_twice,
        b.has_labour and (not r.is_goodwill or i.has_labour) as has_labour,
        b.has_parts and (not r.is_goodwill or i.has_parts) as has_parts,
        b.has_freight and (not r.is_goodwill or i.has_freight) as has_freight,
        case
            when b.still_open then 'still_open'
            when not (b.has_labour or b.has_parts or b.has_freight) then 'no_costs'
            when b.labour is null or (r.is_goodwill and i.labour is null) then 'no_labour'
            when b.parts is null or (r.is_goodwill and i.parts is null) then 'no_parts'
            when b.freight is null or (r.is_goodwill and i.freight is null) then 'no_freight'
            else 'known'
        end as standing
    from returns as r
    join costs as b on b.job_id = r.return_job_id
    left join costs as i on i.job_id = r.job_id
),
-- one row a come-back with its cents, where they are known
summed as (
    select *, case when standing = 'known' then labour + parts + freight + goodwill end as cents
    from made
)
select
    /* groups: */ l.class as class, /* :groups */
    cast(count(*) as bigint) as comebacks,
    cast(count(l.cents) as bigint) as known,
    cast(coalesce(sum(l.cents), 0) as bigint) as cents,
    cast(coalesce(sum(l.labour) filter (where l.standing = 'known'), 0) as bigint) as labour,
    cast(coalesce(sum(l.parts) filter (where l.standing = 'known'), 0) as bigint) as parts,
    cast(coalesce(sum(l.freight) filter (where l.standing = 'known'), 0) as bigint) as freight,
    cast(coalesce(sum(l.goodwill) filter (where l.standing = 'known'), 0) as bigint) as goodwill,
    cast(coalesce(sum(l.goodwill) filter (where l.standing = 'known' and l.is_twice), 0) as bigint) as twice,
    cast(coalesce(sum(cast(l.cents as hugeint) * l.cents), 0) as double) as squares,
    cast(coalesce(sum(cast(l.cents as hugeint) * l.cents * l.cents), 0) as double) as cubes,
    cast(coalesce(max(l.cents), 0) as bigint) as largest,
    cast(count(*) filter (where l.standing = 'still_open') as bigint) as still_open,
    cast(count(*) filter (where l.standing = 'known' and not l.has_labour) as bigint) as without_labour,
    cast(count(*) filter (where l.standing = 'known' and not l.has_parts) as bigint) as without_parts,
    cast(count(*) filter (where l.standing = 'known' and not l.has_freight) as bigint) as without_freight,
    cast(count(*) filter (where l.standing = 'no_costs') as bigint) as no_costs,
    cast(count(*) filter (where l.standing = 'no_costs' and l.has_minutes) as bigint) as no_rate,
    cast(count(*) filter (where l.standing = 'no_labour') as bigint) as no_labour,
    cast(count(*) filter (where l.standing = 'no_parts') as bigint) as no_parts,
    cast(count(*) filter (where l.standing = 'no_freight') as bigint) as no_freight,
    cast(count(*) filter (where l.billing is null) as bigint) as unbilled
from summed as l
where /* filters: */ true /* :filters */
group by all
order by all
