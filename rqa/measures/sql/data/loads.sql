-- What each load made of each file.
-- A row is one file of one load and table: read = accepted + refused + known + superseded + merged.
-- merged: lines that went into the job of another line. replaced and withdrawn: rows the store had of it for which it gives another now, and that it gives no more.
-- Parameters: none.
select
    f.load_id, l.finished_at, f.source_file, f.table_name, f.in_file, f.left_out, f.read,
    f.accepted, f.refused, f.known, f.superseded, f.merged, f.replaced, f.withdrawn
from load_files as f
left join loads as l on l.load_id = f.load_id
order by f.load_id, f.table_name, f.source_file
