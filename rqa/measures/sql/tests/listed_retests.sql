-- Runs of diagnostics that passed or failed, one by one, and what became of the failed ones.
-- A row is one run; failed: it failed, and became one of the others: after_work, failed_again, not_rerun, untimed (that is not
-- known, or its site keeps no step log), retest_pass (nothing was done before it passed); elsewhere: that at another station;
-- judged: failed and not untimed. All as in retests.sql.
-- Parameters: $as_of date: later runs are left out; $unlogged text[]: sites that keep no step log.
-- Not counted: aborted runs.
-- Grouped by: month, week of day d.run_on; job of j or 'unknown'; station of d or 'unknown'; test of d.
-- The steps: those of retests.sql.
select
    /* groups: */ j.model as model, /* :groups */
    d.job_id, d.test as of_test, cast(d.run as bigint) as run, d.outcome, d.run_on as day, d.station as at_station, d.value,
    f.fate,
    d.outcome = 'fail' as failed,
    coalesce(f.fate = 'retest pass' and w.logs, false) as retest_pass,
    coalesce(f.fate = 'after work' and w.logs, false) as after_work,
    coalesce(f.fate = 'failed again' and w.logs, false) as failed_again,
    coalesce(f.fate = 'not rerun' and w.logs, false) as not_rerun,
    d.outcome = 'fail' and (f.fate = 'untimed' or not w.logs) as untimed,
    d.outcome = 'fail' and f.fate <> 'untimed' and w.logs as judged,
    coalesce(f.fate = 'retest pass' and w.logs and f.elsewhere, false) as elsewhere
from runs_until($as_of) as d
left join jobs as j on j.job_id = d.job_id
left join fates as f on f.job_id = d.job_id and f.test = d.test and f.run = d.run
cross join lateral (select not list_contains($unlogged::varchar[], coalesce(j.site, 'unknown')) as logs) as w
where d.outcome in ('pass', 'fail') and /* filters: */ true /* :filters */
order by all
