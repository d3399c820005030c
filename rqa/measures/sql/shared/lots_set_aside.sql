-- Jobs with a lot that is set aside in a period, out of lists of equal length, for a search of bursts.
-- A row is one job and period (its first day). Parameters: aside_dimensions, aside_parts, aside_names, aside_periods, as
-- those of set_aside. Not counted: groups of other dimensions than lot.
create or replace macro lots_set_aside(aside_dimensions, aside_parts, aside_names, aside_periods) as table
select distinct f.job_id, a.period
from fitted_lots as f
join set_aside(aside_dimensions, aside_parts, aside_names, aside_periods) as a
    on a.dimension = 'lot' and a.part_no = f.part_no and a.name = f.lot
