-- Rows that a file gave once and that stand no longer.
-- A row is one table, file, reason and file that gave the row in their place; rows counts the rows kept.
-- Parameters: none.
select table_name, source_file, reason, coalesce(by_file, '') as by_file, cast(count(*) as bigint) as rows
from superseded
group by all
order by all
