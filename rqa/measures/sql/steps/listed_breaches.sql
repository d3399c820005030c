-- Repaired jobs one by one, by the breaches of their procedure that they could have and had.
-- A row is one job, kind (at_kind) and step (at_step) that it could have, as in conformance.sql, '' for any. breached: it had the
-- breach; followed: it had not; matured: it is an index job closed $window days before $as_of or earlier; returned: it came back
-- within them.
-- Parameters: $window days, $as_of date: jobs closed later and steps dated later are left out; $later, the same date again,
-- given only where jobs closed by then have a step dated later: their logs are read anew.
-- Not counted: as in conformance.sql; jobs that cannot be judged.
-- Grouped by: month, week of day j.closed_on; site, model, procedure, billing of j or 'unknown';
--   technician as coalesce(j.job_technician, 'unknown'); bench as case when j.first_bench = j.last_bench
--   then j.first_bench when j.first_bench is null then 'unknown' else 'several' end.
-- The steps: those of conformance.sql.
select
    /* groups: */ coalesce(j.site, 'unknown') as site, /* :groups */
    j.job_id, j.at_kind, j.at_step,
    b.job_id is not null as breached, b.job_id is null as followed,
    coalesce(j.linked and date_diff('day', j.closed_on, $as_of) >= $window, false) as matured,
    coalesce(
        j.linked and date_diff('day', j.closed_on, $as_of) >= $window and j.elapsed_days <= $window, false
    ) as returned
from (
    select
        c.job_id, c.site, c.model, c.procedure, c.job_technician, c.billing, c.closed_on, c.linked, c.elapsed_days,
        c.first_bench, c.last_bench, p.kind as at_kind, p.step as at_step
    from closed as c
    join possible_breaches as p on p.procedure = c.procedure
    where c.judged
    union all
    select
        job_id, site, model, procedure, job_technician, billing, closed_on, linked, elapsed_days, first_bench, last_bench,
        'pairing', ''
    from breaches
    where kind = 'paired'
) as j
left join (
    select job_id, kind, step from breaches where step <> '' and kind <> 'paired'
    union all
    select job_id, kind, '' from breaches where first_of_kind and kind <> 'paired'
    union all
    select job_id, '', step from breaches where first_of_step and step <> '' and kind <> 'paired'
    union all
    select job_id, '', '' from breaches where first_of_job and kind <> 'paired'
) as b on b.job_id = j.job_id and b.kind = j.at_kind and b.step = j.at_step
where /* filters: */ true /* :filters */
order by all
