-- Values measured at first runs, by station on comparable work, from the kept counts by value.
-- A row is one group, unit, station, month, model and procedure, as in station_values.sql by months.
-- Parameters: none; no run may be left out.
-- Not counted: as in station_values.sql.
-- Grouped by: month as d.month; model, procedure, station, test of d.
with
-- one row a group, cell and value
readings as (
    select
        /* groups: */ d.test as test, /* :groups */
        coalesce(d.unit, '') as unit, d.value, d.readings as number, d.month as period,
        d.station as at_station, d.model as of_model, d.procedure as of_procedure
    from station_readings as d
    where /* filters: */ true /* :filters */
),
-- The rest: that of station_values.sql from by_value on.
