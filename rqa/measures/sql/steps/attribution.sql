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
-- Grouped by: month, week of c; job of c or 'unknown'.
with
-- one row a cause
causes as (
    select
        unnest($steps::varchar[]) as step,
        unnest($variants::varchar[]) as variant,
        unnest(range(len($steps::varchar[]))) as number
),
-- one row a turn of work at a matured index job
asked as (
    select
        t.*, t.job_technician as asked_of,
        case when $covariate = 'bench' then coalesce(t.bench, 'unknown') end as place,
        case when t.turns > 1 then t.job_id end as apart,
        case when t.returned and list_contains($classes, t.class) then t.return_found end as found_then
    from index_turns($as_of, $window, $disposition) as t
    where t.matured and t.record is not null
),
-- one row a record of turns, bench where that matters, and sixty causes
words as (
    select
        r.record, r.place, k.number // 60 as word, bit_or(cast(1 as bigint) << cast(k.number % 60 as integer)) as bits
    from (select distinct record, place from asked) as r
    join record_steps as p on p.record = r.record
    join causes as k
        on k.step = p.step
        and k.variant = case $covariate
            when 'bench' then r.place when 'tool' then coalesce(p.tool, 'unknown') else ''
        end
    where p.outcome <> 'skipped'
    group by r.record, r.place, k.number // 60
),
-- one row a record and bench
met as (
    select record, place, string_agg(word || ':' || bits, ' ' order by word) as done
    from words
    group by record, place
),
-- one row a job with several turns
met_apart as (
    select job_id, string_agg(word || ':' || bits, ' ' order by word) as done
    from (
        select a.apart as job_id, w.word, bit_or(w.bits) as bits
        from asked as a
        join words as w on w.record = a.record and w.place is not distinct from a.place
        where a.apart is not null
        group by a.apart, w.word
    ) as of_job
    group by job_id
),
-- one row a come-back that was tested for what was found: whether all tests passed in the end
tested as (
    select distinct b.job_id, b.job_id not in (select job_id from unpassed_tests($as_of)) as passed
    from asked as b
    join runs_until($as_of) as d on d.job_id = b.job_id
    join tests as t on t.test = d.test and t.subsystem = b.found_then
    where b.turn = 1 and b.found_then is not null
),
-- one row a group, record and what became of the jobs; jobs with several turns stay apart, each with its first
cells as (
    select
        /* asked: */ cast(date_trunc('month', a.closed_on) as date) as month,
        cast(date_trunc('week', a.closed_on) as date) as week,
        a.site, a.model, a.procedure, a.asked_of as technician, a.billing, /* :asked */
        a.procedure as done_in, a.record, a.place, a.apart, a.found_then as found,
        case when a.found_then is not null then t.job_id is not null end as covering,
        case when a.found_then is not null then coalesce(t.passed, false) end as passed,
        count(*) as jobs
    from asked as a
    left join tested as t on t.job_id = a.job_id
    where a.turn = 1
    group by all
)
select
    /* groups: */ c.model as model, /* :groups */
    c.done_in,
    coalesce(m.done, o.done) as done,
    c.found,
    c.covering,
    c.passed,
    cast(sum(c.jobs) as bigint) as jobs
from cells as c
left join met as m on c.apart is null and m.record = c.record and m.place is not distinct from c.place
left join met_apart as o on o.job_id = c.apart
where coalesce(m.done, o.done) is not null and /* filters: */ true /* :filters */
group by all order by all
