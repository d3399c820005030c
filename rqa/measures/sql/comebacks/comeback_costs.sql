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
-- Merged: greatest of largest; the others as read.
with
-- one row a come-back
returns as (
    select c.*, coalesce(c.billing = 'goodwill', false) as is_goodwill
    from returned_jobs as c
    where c.disposition = $disposition and c.return_opened_on <= $as_of and c.elapsed_days <= $window
),
-- one row a site: which parts of a cost any of its jobs gives
given as (
    select site, $rate > 0 and minutes > 0 as labour, minutes > 0 as minutes, parts > 0 as parts, freight > 0 as freight
    from given_costs
),
-- one row a come-back, with the cost of its return (back) and of its index job (own) in hundredths of the currency; null where
-- it is not known, 0 where it is not counted
costs as (
    select
        r.*,
        r.back_closed_on is null or r.back_closed_on > $as_of as still_open,
        coalesce(b.labour, false) as back_labour, coalesce(b.minutes, false) as has_minutes,
        coalesce(b.parts, false) as back_lists, coalesce(b.freight, false) as back_ships,
        coalesce(o.labour, false) as own_labour, coalesce(o.parts, false) as own_lists, coalesce(o.freight, false) as own_ships,
        case when b.labour then cast(round(r.back_minutes / 60 * $rate * 100) as bigint) else 0 end as labour,
        case when b.parts then cast(round(r.back_parts * 100) as bigint) else 0 end as parts,
        case when b.freight then cast(round(r.back_freight * 100) as bigint) else 0 end as freight,
        case when o.labour then cast(round(r.own_minutes / 60 * $rate * 100) as bigint) else 0 end as own_labour_cents,
        case when o.parts then cast(round(r.own_parts * 100) as bigint) else 0 end as own_parts_cents,
        case when o.freight then cast(round(r.own_freight * 100) as bigint) else 0 end as own_freight_cents
    from returns as r
    left join given as b on b.site = r.back_site
    left join given as o on o.site = r.site
),
-- one row a come-back with what it cost
made as (
    select
        c.*,
        c.back_found as found,
        case when c.is_goodwill then c.own_labour_cents + c.own_parts_cents + c.own_freight_cents else 0 end as goodwill,
        c.is_goodwill and c.job_id in (select return_job_id from returns) as is_twice,
        c.back_labour and (not c.is_goodwill or c.own_labour) as has_labour,
        c.back_lists and (not c.is_goodwill or c.own_lists) as has_parts,
        c.back_ships and (not c.is_goodwill or c.own_ships) as has_freight,
        case
            when c.still_open then 'still_open'
            when not (c.back_labour or c.back_lists or c.back_ships) then 'no_costs'
            when c.labour is null or (c.is_goodwill and c.own_labour_cents is null) then 'no_labour'
            when c.parts is null or (c.is_goodwill and c.own_parts_cents is null) then 'no_parts'
            when c.freight is null or (c.is_goodwill and c.own_freight_cents is null) then 'no_freight'
            else 'known'
        end as standing
    from costs as c
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
group by all order by all
