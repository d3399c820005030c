-- The tables and views of a store, column by column.
-- A row is one column: view (or table), column, type. Parameters: none. Not counted: what the engine brings.
select table_name as view, column_name as column, data_type as type
from duckdb_columns()
where database_name = current_database() and schema_name = 'main' and not internal
order by table_name, column_index
