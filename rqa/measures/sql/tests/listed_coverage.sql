-- Come-backs one by one, by what was found at fault, and why no test had caught it.
-- A row is one come-back; subsystem and way as in escapes_coverage.sql; known: its subsystem is; uncovered, not_run, not_passed
-- and escaped: the ways.
-- Parameters: $window days, $as_of date: later runs are left out; $disposition of the index jobs.
-- Not counted: what keep_links.sql leaves out.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
-- The steps: those of escapes_coverage.sql.
select
    /* names: */ model, /* :names */
    x.job_id,
    coalesce(x.found, '') as subsystem,
    x.found is not null as known,
    x.found is not null and c.subsystem is null as uncovered,
    x.found is not null and c.subsystem is not null and not coalesce(t.run, false) as not_run,
    coalesce(x.found is not null and c.subsystem is not null and t.run and not t.passed, false) as not_passed,
    coalesce(x.found is not null and c.subsystem is not null and t.run and t.passed, false) as escaped
from back as x
left join tested as t on t.job_id = x.job_id
left join covered as c on c.subsystem = x.found
order by all
