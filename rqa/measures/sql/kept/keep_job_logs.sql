-- What the logs hold of each job, and how it came back: the least that questions ask of jobs with their tests.
-- A row is one job, with its own columns and: logged: it has a step log; seconds: the time between start and end of its attempts;
-- checks: its first attempts that passed or failed, failed_checks: those that failed, checked_by and checked_in: the technician and
-- the month of them all (as in attempts_of_jobs), unless they are of several (checks_mixed); test_checks, failed_tests, tested_in and
-- tests_mixed: the same of its first runs; worked_until: the end of its last step
-- attempt; tests: the tests of which the first run is there, in order with chr(31) between them (null without); later_tests: those
-- with later runs alone; failed, aborted: the last run of some test ended so; early: the last run of some test came before
-- worked_until (null without tests or a timed attempt), tested_from and tested_to: then, the days of its first and last run; and, of index jobs (linked), class and elapsed_days of the return, with fault_found: the subsystem
-- found at fault on it (null where it found none, or nobody wrote it down). fitted: a part was fitted in the job; refitted: the
-- return fitted one of that number again.
-- Not counted: logs without a job; skipped steps as work. Reads links, unclean_tests.
with
-- one row a job with a step log
worked as (
    select
        job_id, max(coalesce(ended_at, started_at)) filter (where outcome <> 'skipped') as worked_until,
        cast(sum(date_diff('second', started_at, ended_at)) filter (where outcome <> 'skipped') as bigint) as seconds,
        count(*) filter (where attempt = 1 and outcome in ('pass', 'fail')) as checks,
        count(*) filter (where attempt = 1 and outcome = 'fail') as failed_checks,
        count(technician) filter (where attempt = 1 and outcome in ('pass', 'fail')) as given,
        min(technician) filter (where attempt = 1 and outcome in ('pass', 'fail')) as first_by,
        max(technician) filter (where attempt = 1 and outcome in ('pass', 'fail')) as last_by,
        count(done_on) filter (where attempt = 1 and outcome in ('pass', 'fail')) as dated,
        min(done_on) filter (where attempt = 1 and outcome in ('pass', 'fail')) as first_on,
        max(done_on) filter (where attempt = 1 and outcome in ('pass', 'fail')) as last_on
    from steps
    group by job_id
),
-- one row a job with diagnostics: the tests with a first run in any order, and when the first clean one was run
tested as (
    select
        d.job_id, array_to_string(list(d.test) filter (where d.run = 1), chr(31)) as listed,
        min(d.run_at) filter (where u.job_id is null) as last_at, min(d.run_on) as tested_from, max(d.run_on) as tested_to,
        count(*) filter (where d.run = 1 and d.outcome <> 'aborted') as test_checks,
        count(*) filter (where d.run = 1 and d.outcome = 'fail') as failed_tests,
        count(d.run_on) filter (where d.run = 1 and d.outcome <> 'aborted') as dated,
        min(d.run_on) filter (where d.run = 1 and d.outcome <> 'aborted') as first_on,
        max(d.run_on) filter (where d.run = 1 and d.outcome <> 'aborted') as last_on
    from diagnostics as d
    left join unclean_tests as u on u.job_id = d.job_id and u.test = d.test
    group by d.job_id
),
-- one row a list of tests: the same in order; to put few lists in order and not those of all jobs saves most of the time
in_order as (
    select listed, array_to_string(list_sort(string_split(listed, chr(31))), chr(31)) as tests
    from (select distinct listed from tested where listed <> '') as each_once
),
-- one row a job with tests that were not clean
unclean as (
    select
        job_id, min(last_at) as last_at, bool_or(last_outcome = 'fail') as failed, bool_or(last_outcome = 'aborted') as aborted,
        array_to_string(list_sort(list(test) filter (where first_outcome is null)), chr(31)) as later_tests
    from unclean_tests
    group by job_id
),
-- one row a job in which parts were fitted
with_part as (
    select distinct job_id from parts
),
-- one row an index job of which the return fitted a part of the same number
part_again as (
    select distinct l.job_id
    from links as l
    join parts as p on p.job_id = l.job_id
    join parts as q on q.job_id = l.return_job_id and q.part_no = p.part_no
)
select
    j.job_id, j.unit_id, j.site, j.model, j.procedure, j.technician, j.billing, j.disposition, j.opened_on, j.closed_on,
    j.closed_at, j.labour_minutes,
    w.job_id is not null as logged, w.seconds, cast(w.checks as integer) as checks,
    cast(w.failed_checks as integer) as failed_checks,
    case when w.given > 0 then w.first_by else j.technician end as checked_by,
    cast(date_trunc('month', case when w.dated > 0 then w.first_on else coalesce(j.closed_on, j.opened_on) end) as date)
        as checked_in,
    coalesce(
        w.checks > 0 and (
            (w.given > 0 and w.first_by <> w.last_by)
            or (w.given between 1 and w.checks - 1 and w.first_by is distinct from j.technician)
            or (w.dated > 0 and date_trunc('month', w.first_on) <> date_trunc('month', w.last_on))
            or (
                w.dated between 1 and w.checks - 1
                and date_trunc('month', w.first_on) is distinct from date_trunc('month', coalesce(j.closed_on, j.opened_on))
            )
        ),
        false
    ) as checks_mixed,
    cast(t.test_checks as integer) as test_checks, cast(t.failed_tests as integer) as failed_tests,
    cast(date_trunc('month', t.first_on) as date) as tested_in,
    coalesce(
        t.dated between 1 and t.test_checks - 1 or date_trunc('month', t.first_on) <> date_trunc('month', t.last_on), false
    ) as tests_mixed,
    o.tests, nullif(u.later_tests, '') as later_tests,
    coalesce(u.failed, false) as failed, coalesce(u.aborted, false) as aborted,
    w.worked_until,
    least(t.last_at, u.last_at) < w.worked_until as early,
    case when least(t.last_at, u.last_at) < w.worked_until then t.tested_from end as tested_from,
    case when least(t.last_at, u.last_at) < w.worked_until then t.tested_to end as tested_to,
    l.job_id is not null as linked,
    cast(l.elapsed_days as integer) as elapsed_days,
    l.class,
    case when l.class in ('repeat', 'workmanship', 'new_fault') then b.found end as fault_found,
    p.job_id is not null as fitted, a.job_id is not null as refitted
from jobs as j
left join worked as w on w.job_id = j.job_id
left join tested as t on t.job_id = j.job_id
left join in_order as o on o.listed = t.listed
left join unclean as u on u.job_id = j.job_id
left join links as l on l.job_id = j.job_id
left join jobs as b on b.job_id = l.return_job_id
left join with_part as p on p.job_id = j.job_id
left join part_again as a on a.job_id = j.job_id
