-- The views and table macros that a store holds for SQL of one's own: the concepts that the questions draw on.
-- A row is one of them: kind is 'view' or 'table macro', parameters its parameters in order, meaning what it says of itself.
-- Parameters: none. Not counted: tables, and what the engine brings.
select view_name as name, 'view' as kind, '' as parameters, coalesce(comment, '') as meaning
from duckdb_views()
where database_name = current_database() and not internal
union all
select function_name, 'table macro', array_to_string(parameters, ', '), coalesce(comment, '')
from duckdb_functions()
where database_name = current_database() and function_type = 'table_macro' and not internal
order by name
