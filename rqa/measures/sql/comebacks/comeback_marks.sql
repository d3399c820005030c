-- Marks of come-backs that say where to look: nothing found, the same part fitted again, passed the tests that should have
-- caught it.
-- A row is one group; returned: matured index jobs that came back within $window days. fault_known: those whose return
-- found something, or found nothing (all but class unknown); no_fault_found: those that found nothing. with_part: those in
-- whose index job a part was fitted; same_part: those whose return fitted a part of that number again. tested: those whose
-- index job has diagnostics and whose return has a subsystem found at fault; escaped: those whose last runs of all tests
-- passed, one of them of a test that covers what was then found.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
with
-- one row a come-back
back as (
    select
        l.job_id, l.return_job_id, l.class,
        l.fault_found as found,
        /* groups: */ l.model as model, /* :groups */
    from comeback_jobs($as_of, $window, $disposition) as l
    where /* filters: */ true /* :filters */
),
-- one row a come-back in whose index job a part was fitted: whether the return fitted one of that number
refitted as (
    select x.job_id, bool_or(q.part_no is not null) as again
    from back as x
    join parts as p on p.job_id = x.job_id
    left join parts as q on q.job_id = x.return_job_id and q.part_no = p.part_no
    group by x.job_id
),
-- one row a come-back and test of its index job: how the last run ended
last_runs as (
    select x.job_id, x.found, d.test, max_by(d.outcome, d.run) as outcome
    from back as x
    join diagnostics as d on d.job_id = x.job_id
    group by x.job_id, x.found, d.test
),
-- one row a come-back whose index job was tested
tested as (
    select
        r.job_id,
        bool_and(r.outcome = 'pass') and bool_or(t.subsystem is not null and t.subsystem = r.found) as escaped
    from last_runs as r
    left join tests as t on t.test = r.test
    where r.found is not null
    group by r.job_id
)
select
    /* names: */ model, /* :names */
    cast(count(*) as bigint) as returned,
    cast(count(*) filter (where x.class <> 'unknown') as bigint) as fault_known,
    cast(count(*) filter (where x.class = 'no_fault_found') as bigint) as no_fault_found,
    cast(count(r.job_id) as bigint) as with_part,
    cast(count(*) filter (where r.again) as bigint) as same_part,
    cast(count(t.job_id) as bigint) as tested,
    cast(count(*) filter (where t.escaped) as bigint) as escaped
from back as x
left join refitted as r on r.job_id = x.job_id
left join tested as t on t.job_id = x.job_id
group by all order by all
