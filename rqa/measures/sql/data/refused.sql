-- Why rows were refused.
-- A row is one rule broken in one column of one file's rows; rows counts source rows, first_row is the first of them.
-- Parameters: none. A source row that breaks several rules counts under each.
with
-- one row a refused source row and rule, however often it was loaded
broken as (
    select table_name, source_file, coalesce(column_name, '') as column_name, rule, source_row, max(value) as value
    from refused
    group by table_name, source_file, coalesce(column_name, ''), rule, source_row
)
select
    table_name, column_name, rule, source_file,
    cast(count(*) as bigint) as rows,
    min(source_row) as first_row,
    min_by(value, source_row) as first_value
from broken
group by table_name, column_name, rule, source_file
order by rows desc, table_name, column_name, rule, source_file
