-- Index jobs one by one, as the questions about follow-up count them.
-- A row is one index job and group, as in followed_upto: a job stands once in each group that its step log, diagnostics or
-- parts list names. day: days since closing on which its follow-up ended, $upto + 1 where it went on beyond $upto;
-- returned: it came back by then, as came_as; retired: its unit left service; followed: neither; censored: one of these two.
-- age: calendar months from the closing to the return that ended it.
-- Parameters: $upto days, $as_of date, $disposition of the index jobs.
-- Not counted: as in followed_upto; by step log, diagnostics or parts list, jobs without one.
-- Grouped by: month as l.closed_month; week of day l.closed_on; job of l or 'unknown'; step of s; bench of s or 'unknown';
--   tool of s or 'unknown'; phase of p or 'unknown'; test of d; station of d or 'unknown'; part_no of f; lot of f or
--   'unknown'.
with
-- one row an index job, with what is told of it
counted as (
    select *, {
        'day': cast(day as bigint), 'returned': until_then not in ('retired', 'followed'),
        'retired': until_then = 'retired', 'followed': until_then = 'followed',
        'censored': until_then in ('retired', 'followed'),
        'age': case when ended = 'returned' then date_diff('month', closed_on, ended_on) end,
        'came_as': case when until_then not in ('retired', 'followed') then until_then end
    } as told
    from followed_upto($as_of, $upto, $disposition)
)
-- The rest: that of listed_index_jobs.sql from its select on.
