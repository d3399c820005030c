-- What each load made of each file.
-- A row is one file of one load, read for one table: read = accepted + refused + known + superseded.
-- Parameters: none.
select
    f.load_id, l.finished_at, f.source_file, f.table_name, f.in_file, f.left_out, f.read,
    f.accepted, f.refused, f.known, f.superseded
from load_files as f
left join loads as l on l.load_id = f.load_id
order by f.load_id, f.table_name, f.source_file
