-- Where the jobs of each group of failure signatures were: site, bench, model, procedure, technician, lot.
-- A row is one group, dimension, name in it (part_no beside it for a lot, else ''), model, procedure and what the site
-- writes down. jobs: repaired jobs
-- closed at least $window days before $as_of whose marks (as in signatures.sql) are one of the group's patterns.
-- Parameters: $window days, $as_of date, $patterns and $clusters: each pattern and the number of its group; $unwritten:
-- sites that do not write down what was found; $sites and $written: each site, and the word for what it writes down.
-- Not counted: jobs of other patterns, or without a name in the dimension. A job counts once under each bench and lot that it
-- names, so groups of these overlap and do not add up.
with
-- one row a pattern
grouped as (
    select unnest($patterns::varchar[]) as pattern, unnest($clusters::bigint[]) as cluster
),
-- one row a site
writing as (
    select unnest($sites::varchar[]) as site, unnest($written::varchar[]) as written
),
-- one row a matured job
matured as (
    select job_id, site, model, procedure, technician from matured_jobs($as_of, $window, 'repaired')
),
-- one row a job whose pattern is in a group
placed as (
    select s.job_id, g.cluster
    from failure_signatures($as_of, $window, $unwritten) as s
    join grouped as g on g.pattern = s.pattern
),
-- one row a job, dimension and name
named as (
    select job_id, 'site' as dimension, '' as part_no, site as name from matured
    union all
    select job_id, 'model', '', model from matured
    union all
    select job_id, 'procedure', '', procedure from matured
    union all
    select job_id, 'technician', '', technician from matured
    union all
    (
        select distinct s.job_id, 'bench', '', s.bench
        from job_turns as s
        join placed as p on p.job_id = s.job_id
    )
    union all
    (
        select distinct job_id, 'lot', part_no, lot from parts
    )
)
select
    p.cluster, n.dimension, n.part_no, n.name, m.model, m.procedure, coalesce(w.written, '') as written,
    cast(count(*) as bigint) as jobs
from matured as m
join placed as p on p.job_id = m.job_id
join named as n on n.job_id = m.job_id
left join writing as w on w.site = m.site
where n.name is not null
group by all order by all
