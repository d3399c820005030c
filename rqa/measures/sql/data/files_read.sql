-- The files that the store was loaded from, with their contents and mappings.
-- A row is one file, table, digest of its contents and digest of its mapping; load_id: the first load that read it so.
-- Parameters: none. Not counted: files that were gone.
select source_file, table_name, digest, mapping_digest, min(load_id) as load_id
from load_files
where digest <> ''
group by source_file, table_name, digest, mapping_digest
order by load_id, source_file, table_name, digest, mapping_digest
