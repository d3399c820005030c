-- What was accepted and deserves a look.
-- A row is one remark on one value in one table. Parameters: none.
select
    table_name, remark, coalesce(value, '') as value, coalesce(source_file, '') as source_file,
    cast(sum(rows) as bigint) as rows,
    min(first_row) as first_row
from remarks
group by table_name, remark, coalesce(value, ''), coalesce(source_file, '')
order by table_name, remark, rows desc, value, source_file
