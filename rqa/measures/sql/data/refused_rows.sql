-- How many source rows are refused, whatever the number of rules they break, by table.
-- A row is one table. Parameters: none.
select table_name, cast(count(*) as bigint) as rows
from (select distinct table_name, source_file, source_row from refused) as each_once
group by table_name
order by table_name
