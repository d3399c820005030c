-- Rows to mend in the files of a site: refused, or accepted with a remark on one of their values.
-- A row is one broken rule of a source row, or one remark on a value in a file (rows: how many rows have it, source_row the
-- first). site: that of the row's job; else that of all jobs to which rows of the file belong, where that is one; else ''.
-- Parameters: none. Not counted: remarks on no file.
-- Merged: whole.
with
-- one row a rule, or a remark, with the file it is about
amiss as (
    select
        'refused' as kind, table_name, source_file, source_row, coalesce(column_name, '') as column_name,
        coalesce(value, '') as value, rule, job_id, 1 as rows
    from refused
    union all
    select 'accepted', table_name, source_file, min(first_row), '', coalesce(value, ''), remark, null, sum(rows)
    from remarks
    where source_file is not null
    group by table_name, source_file, coalesce(value, ''), remark
),
-- one row a file with something amiss
files as (
    select distinct source_file from amiss
),
-- one row a file: the sites of the jobs to which its rows belong
owners as (
    select source_file, min(site) as site, min(site) = max(site) as is_one
    from (
        select j.source_file, j.site from jobs as j semi join files as f on f.source_file = j.source_file
        union all
        select s.source_file, j.site
        from (
            select distinct source_file, job_id from steps union all select distinct source_file, job_id from diagnostics
            union all select distinct source_file, job_id from parts
        ) as s
        semi join files as f on f.source_file = s.source_file
        join jobs as j on j.job_id = s.job_id
    ) as each_row
    group by source_file
)
select
    coalesce(j.site, case when o.is_one then o.site end, '') as site, a.kind, a.table_name, a.source_file,
    cast(a.source_row as bigint) as source_row, a.column_name, a.value, a.rule, coalesce(a.job_id, '') as job_id,
    cast(a.rows as bigint) as rows
from amiss as a
left join jobs as j on j.job_id = a.job_id
left join owners as o on o.source_file = a.source_file
order by all
