-- Index jobs one by one, with what their tests caught and what escaped them.
-- A row is one index job and group of its tests. tested, passed, caught, escaped, doubtful, unverified are as in escapes.sql, of
-- matured jobs; open: of jobs that have not matured.
-- Parameters: $window days, $as_of date: later runs and returns are left out; $disposition of the index jobs.
-- Not counted: as in escapes.sql.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; test of d; subsystem of t.
-- The steps: those of escapes.sql.
select
    /* names: */ test, /* :names */
    c.job_id,
    x.is_tested and c.matured as tested,
    x.is_tested and c.matured and c.passed as passed,
    x.caught and c.matured as caught,
    x.came_back and c.matured and c.passed as escaped,
    x.doubtful and not x.caught and c.matured as doubtful,
    x.is_tested and c.matured and c.passed and c.unverified as unverified,
    x.is_tested and not c.matured and c.passed and c.not_back as open
from (
    select
        /* names: */ test, /* :names */
        place, bool_or(is_tested) as is_tested, bool_or(came_back) as came_back, bool_or(caught) as caught,
        bool_or(doubtful) as doubtful
    from (
        select
            /* names: */ test, /* :names */
            place, true as is_tested, false as came_back, false as caught, false as doubtful
        from jobs_once
        union all
        select /* names: */ test, /* :names */ place, false, came_back, caught, doubtful
        from marked_once
    ) as both_kinds
    group by all
) as x
join (select place, job_id, matured, passed, not_back, unverified from closed) as c on c.place = x.place
order by all
