-- What each matured index job did, and whether it came back for a fault that its work, or a part fitted, may have caused.
-- A row is one group, procedure (done_in), set of causes met (done), subsystem found at fault on return (found; null: no
-- come-back of $classes within $window days), and covering, passed: whether a test that covers the fault was run in the
-- index job, and whether it was and the last runs of all tests passed (null without a come-back). jobs counts them.
-- A cause is a step with its variant: the bench or tool at which it was done where $covariate says so, else ''. done lists
-- the causes by their places n in $steps and $variants: a word w:b for each sixty, bits of b being n - 60 w.
-- Parameters: $window days, $as_of date, $disposition of the index jobs, $classes of come-backs, $covariate ('', 'bench',
-- 'tool'), $steps and $variants: the causes, two lists of equal length.
-- Not counted: jobs closed less than $window days before $as_of; jobs without any step that was done; skipped steps; steps
-- that are not in the lists; runs dated after $as_of.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
with
-- one row a cause
causes as (
    select
        unnest($steps::varchar[]) as step,
        unnest($variants::varchar[]) as variant,
        unnest(range(len($steps::varchar[]))) as number
),
-- one row a matured index job
asked as (
    select
        l.job_id, l.procedure as done_in, /* groups: */ l.model as model, /* :groups */
        case when l.returned and list_contains($classes, l.class) then l.return_job_id end as return_job_id
    from matured_jobs($as_of, $window, $disposition) as l
    where /* filters: */ true /* :filters */
),
-- one row a job and sixty causes; of all jobs, as picking out those asked for would cost more than it spares
words as (
    select s.job_id, c.number // 60 as word, bit_or(cast(1 as bigint) << cast(c.number % 60 as integer)) as bits
    from steps as s
    join causes as c
        on c.step = s.step
        and c.variant = case $covariate
            when 'bench' then coalesce(s.bench, 'unknown') when 'tool' then coalesce(s.tool, 'unknown') else ''
        end
    where s.outcome <> 'skipped'
    group by s.job_id, c.number // 60
),
-- one row a job
met as (
    select job_id, string_agg(word || ':' || bits, ' ' order by word) as done
    from words
    group by job_id
),
-- one row a come-back: what was found
back as (
    select a.job_id, b.found
    from asked as a
    join jobs as b on b.job_id = a.return_job_id
    where a.return_job_id is not null
),
-- one row a come-back that was tested for what was found: whether all tests passed in the end
tested as (
    select distinct b.job_id, b.job_id not in (select job_id from unpassed_tests($as_of)) as passed
    from back as b
    join runs_until($as_of) as d on d.job_id = b.job_id
    join tests as t on t.test = d.test and t.subsystem = b.found
)
select
    /* names: */ model, /* :names */
    done_in,
    done,
    found,
    case when found is not null then passed is not null end as covering,
    case when found is not null then coalesce(passed, false) end as passed,
    cast(count(*) as bigint) as jobs
from (
    select a.* exclude (job_id, return_job_id), m.done, b.found, t.passed
    from asked as a
    join met as m on m.job_id = a.job_id
    left join back as b on b.job_id = a.job_id
    left join tested as t on t.job_id = a.job_id
) as looked_at
group by all
order by all
