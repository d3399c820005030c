-- Records of files that are no rows, as they were kept: as read, or encrypted.
-- A row is one record. Parameters: none. Not counted: records that were not kept.
select source_file, source_row, rule, raw as record
from refused
where column_name is null and raw is not null
order by all
