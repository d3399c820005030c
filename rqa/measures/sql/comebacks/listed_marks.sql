-- Come-backs one by one, with the marks that say where to look.
-- A row is one come-back; fault_known, no_fault_found, with_part, same_part, tested and escaped are as in comeback_marks.sql.
-- Parameters: $window days, $as_of date, $disposition of the index jobs.
-- Not counted: jobs closed less than $window days before $as_of, and what keep_links.sql leaves out.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'.
-- The steps: those of comeback_marks.sql.
select
    /* names: */ model, /* :names */
    x.job_id, x.class <> 'unknown' as fault_known, x.class = 'no_fault_found' as no_fault_found,
    r.job_id is not null as with_part, coalesce(r.again, false) as same_part, t.job_id is not null as tested,
    coalesce(t.escaped, false) as escaped
from back as x
left join refitted as r on r.job_id = x.job_id
left join tested as t on t.job_id = x.job_id
order by all
