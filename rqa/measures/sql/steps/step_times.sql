-- How long first attempts at steps took, and how often the jobs came back of which one was rushed or slow.
-- A row is one group and pace: 'rushed' and 'slow' are attempts quicker or slower than $outer of those at the same step of the same
-- procedure on the same model, where there are $min_cases or more; 'usual' the others of these; 'all' every attempt. attempts
-- counts them; median, quarter and three_quarters of their seconds; matured: those of index jobs that matured; returned: of these,
-- the job was back within $window days.
-- Parameters: $as_of date: attempts dated and jobs closed later are left out; $outer share; $min_cases attempts; $window days;
-- $disposition of the index jobs.
-- Attempts of jobs that are not in the store count as work of no known procedure and model.
-- Not counted: later attempts, skipped ones, attempts without a start and an end, or that end before they start.
-- Grouped by: month, week of day t.day; job of t or 'unknown'; step of t; bench, tool of t or 'unknown'.
-- Merged: whole.
with
-- one row a timed first attempt
timed as (
    select *, date_diff('second', started_at, ended_at) as seconds
    from attempts_until($as_of)
    where attempt = 1 and outcome <> 'skipped' and ended_at >= started_at
),
-- one row a step of a procedure on a model
ends as (
    select
        step, procedure, model, quantile_cont(seconds, cast($outer as double)) as quick,
        quantile_cont(seconds, 1 - cast($outer as double)) as slow
    from timed
    group by step, procedure, model
    having count(*) >= $min_cases
),
-- one row an attempt and pace
paced as (
    select
        t.*, m.job_id as followed, m.returned,
        unnest(['all', case when t.seconds < e.quick then 'rushed' when t.seconds > e.slow then 'slow'
                            when e.step is not null then 'usual' end]) as pace
    from timed as t
    left join ends as e
        on e.step = t.step and e.procedure is not distinct from t.procedure and e.model is not distinct from t.model
    left join matured_jobs($as_of, $window, $disposition) as m on m.job_id = t.job_id
)
select
    /* groups: */ t.step as step, /* :groups */
    t.pace, cast(count(*) as bigint) as attempts,
    cast(quantile_cont(t.seconds, 0.5) as double) as median, cast(quantile_cont(t.seconds, 0.25) as double) as quarter,
    cast(quantile_cont(t.seconds, 0.75) as double) as three_quarters,
    cast(count(t.followed) as bigint) as matured, cast(count(*) filter (where t.returned) as bigint) as returned
from paced as t
where t.pace is not null and /* filters: */ true /* :filters */
group by all order by all
