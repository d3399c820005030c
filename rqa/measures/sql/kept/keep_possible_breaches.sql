-- The breaches that jobs of a procedure could make, each with its step; made anew by each load.
-- A row is one procedure, kind and step, as in conformance.sql, and one for '' in place of kind, step or both.
-- Not counted: 'pairing', which hangs on the parts fitted.
with
-- one row a procedure, kind and step
possible as (
    select p.procedure, k.kind, p.step
    from procedure_plan as p
    cross join (select unnest(['missing', 'skipped', 'left_failed']) as kind) as k
    union
    select procedure, 'count_not_done', step from procedure_plan where counts
    union
    select procedure, 'unequal_connectors', step from connector_ends
    union
    select procedure, kind, step from order_rules
)
select procedure, kind, step from possible
union
select procedure, kind, '' from possible
union
select procedure, '', step from possible
union
select procedure, '', '' from possible
order by procedure, kind, step
