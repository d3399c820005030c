-- Groups set aside in periods, out of lists of equal length, for a search of bursts.
-- A row is one group and period: dimension, part_no (of a lot), name, period (its first day).
-- Parameters: aside_dimensions, aside_parts, aside_names, aside_periods. Not counted: nothing.
create or replace macro set_aside(aside_dimensions, aside_parts, aside_names, aside_periods) as table
select
    unnest(aside_dimensions::varchar[]) as dimension, unnest(aside_parts::varchar[]) as part_no,
    unnest(aside_names::varchar[]) as name, unnest(aside_periods::date[]) as period
