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
    select
        l.job_id, l.site, l.model, l.procedure, l.technician,
        case when l.elapsed_days <= $window then l.return_job_id end as return_job_id, l.class
    from links as l
    where l.disposition = 'repaired' and l.closed_on <= $as_of and date_diff('day', l.closed_on, $as_of) >= $window
),
-- one row a job and mark
marks as (
    select s.job_id, 'step' || chr(30) || s.step as mark
    from steps as s
    where s.outcome = 'fail'
    union
    select s.job_id, 'fault' || chr(30) || s.fault
    from steps as s
    where s.outcome = 'fail' and s.fault is not null
    union
    select d.job_id, 'test' || chr(30) || d.test
    from diagnostics as d
    where d.run = 1 and d.outcome = 'fail'
    union
    select
        m.job_id,
        'found' || chr(30) || case when m.class = 'no_fault_found' then 'nothing' else coalesce(b.found, 'unknown') end
    from matured as m
    join jobs as b on b.job_id = m.return_job_id
    where not list_contains($unwritten::varchar[], m.site)
),
-- one row a job whose pattern is in a group
placed as (
    select x.job_id, g.cluster
    from (
        select job_id, string_agg(mark, chr(31) order by mark) as pattern
        from marks
        group by job_id
    ) as x
    join grouped as g on g.pattern = x.pattern
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
        from steps as s
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
group by all
order by all
