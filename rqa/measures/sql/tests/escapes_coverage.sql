-- Come-backs by what was found at fault, and why no test had caught it.
-- A row is one group, subsystem found on return ('' where none is known) and way: 'not known' (the return found nothing, or
-- nothing was written down), 'no test covers it', 'not run' (tests cover it, none was run on the index job), 'not passed' (one
-- was run, but some last run had not passed: released all the same), 'escaped' (one was run and all last runs had passed).
-- returned counts matured index jobs that came back within $window days.
-- Parameters: $window days, $as_of date: later runs are left out; $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
with
-- one row a come-back
back as (
    select
        l.job_id,
        /* groups: */ l.model as model, /* :groups */
        l.fault_found as found
    from comeback_jobs($as_of, $window, $disposition) as l
    where /* filters: */ true /* :filters */
),
-- one row a come-back and test of its index job: how the last run ended, and whether it covers what was found
last_runs as (
    select x.job_id, d.test, max_by(d.outcome, d.run) as outcome, bool_or(t.test is not null) as covers
    from back as x
    join runs_until($as_of) as d on d.job_id = x.job_id
    left join tests as t on t.test = d.test and t.subsystem = x.found
    group by x.job_id, d.test
),
-- one row a come-back whose index job was tested: whether all passed, and whether one covers what was found
tested as (
    select job_id, bool_and(outcome = 'pass') as passed, bool_or(covers) as run
    from last_runs
    group by job_id
),
-- one row a subsystem that some test covers
covered as (
    select distinct subsystem
    from tests
)
select
    /* names: */ model, /* :names */
    coalesce(x.found, '') as subsystem,
    case
        when x.found is null then 'not known'
        when c.subsystem is null then 'no test covers it'
        when not coalesce(t.run, false) then 'not run'
        when not t.passed then 'not passed'
        else 'escaped'
    end as way,
    cast(count(*) as bigint) as returned
from back as x
left join tested as t on t.job_id = x.job_id
left join covered as c on c.subsystem = x.found
group by all order by all
