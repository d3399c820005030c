-- First attempts at steps by outcome, by the shift and its hour, and by the days since a training.
-- A row is one group and outcome; attempts counts the first attempts.
-- shift: by when it began on the site's own clock: 'early' from 4 to before 12, 'late' from 12 to before 20, 'night' else;
-- shift_hour: '01' is its first hour, '13' the thirteenth and later ones; both 'unknown' without a technician or a time.
-- A shift of a technician begins with a logged attempt after $rest hours or more without one.
-- days_since_training: since the latest action with the technician in its scope had taken effect.
-- Parameters: $as_of date: steps dated later are left out; $rest hours; $sites and $zones, two lists of equal length: the
-- sites' time zones (UTC for a site that is not among them).
-- Not counted: later attempts. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of a; job of a or 'unknown'; step of a; bench, tool, phase of a or 'unknown'; shift,
--   shift_hour, days_since_training of a.
-- Merged: whole.
with
-- one row an attempt; stretch: a number for each $rest hours of time
worked as (
    select
        *, coalesce(started_at, ended_at) as done_at,
        date_diff('second', timestamp '0001-01-01', coalesce(started_at, ended_at)) // cast(3600 * $rest as bigint) as stretch
    from attempts_of_jobs
),
-- one row a technician and stretch with an attempt: only the first attempt of one can begin a shift
stretches as (
    select technician, stretch, min(done_at) as first_at, max(done_at) as last_at
    from worked
    where technician is not null and stretch is not null
    group by technician, stretch
),
-- the same, with the end of the one before
after as (
    select *, lag(last_at) over (partition by technician order by stretch) as before
    from stretches
),
-- one row a technician and stretch, with the time at which its shift began
shifts as (
    select
        technician, stretch,
        max(case when before is null or date_diff('second', before, first_at) >= 3600 * $rest then first_at end)
            over (partition by technician order by stretch) as begun_at
    from after
),
-- one row a site ('' for none) and its time zone
clocks_of_sites as (
    select coalesce(site, '') as site,
        coalesce(cast($zones as varchar[])[list_position(cast($sites as varchar[]), site)], 'UTC') as zone
    from (select distinct site from jobs union select null) as each_once
),
-- one row a technician, stretch and site, with its shift by the site's clock
clocked as (
    select f.technician, f.stretch, c.site, f.begun_at, extract(hour from timezone(c.zone, timezone('UTC', f.begun_at))) as hour
    from shifts as f
    cross join clocks_of_sites as c
),
-- one row a technician and day on which a training had taken effect
trainings as (
    select trim(who.technician) as technician, a.started_on
    from actions as a,
        unnest(string_split(regexp_extract(a.scope, '(?:^|;)\s*technician\s*=\s*([^;]*)', 1), ',')) as who (technician)
    where trim(who.technician) <> ''
),
-- one row a trained technician and day of work, null without a day, with the last training up to it
trained as (
    select d.technician, d.day, max(t.started_on) as trained_on
    from (
        select distinct technician, day from worked where technician in (select technician from trainings)
    ) as d
    left join trainings as t on t.technician = d.technician and t.started_on <= d.day
    group by d.technician, d.day
),
-- the same in words
since as (
    select
        technician, day,
        case
            when day is null then 'unknown'
            when trained_on is null then 'before training'
            when date_diff('day', trained_on, day) <= 30 then '0 to 30 days'
            when date_diff('day', trained_on, day) <= 90 then '31 to 90 days'
            when date_diff('day', trained_on, day) <= 180 then '91 to 180 days'
            else 'after 180 days'
        end as days_since_training
    from trained
),
-- one row a group of first attempts
counted as (
    select
        /* asked: */
        cast(date_trunc('month', w.day) as date) as month,
        cast(date_trunc('week', w.day) as date) as week,
        w.site,
        w.model,
        w.procedure,
        w.technician,
        w.billing,
        w.step,
        w.bench,
        w.tool,
        p.phase,
        coalesce(t.days_since_training, 'no training') as days_since_training,
        /* :asked */
        /* if shift or shift_hour: */
        c.hour, date_diff('second', c.begun_at, w.done_at) // 3600 as hours,
        /* :if shift or shift_hour */
        w.outcome, count(*) as attempts
    from worked as w
    /* if shift or shift_hour: */
    left join clocked as c on c.technician = w.technician and c.stretch = w.stretch and c.site = coalesce(w.site, '')
    /* :if shift or shift_hour */
    /* if days_since_training: */
    left join since as t on t.technician = w.technician and t.day is not distinct from w.day
    /* :if days_since_training */
    /* if phase: */
    left join declared_steps as p on p.procedure = w.procedure and p.step = w.step
    /* :if phase */
    where w.attempt = 1 and coalesce(w.day <= $as_of, true)
    group by all
),
-- the same, with the shift in words
told as (
    select
        /* if shift or shift_hour: */
        case
            when hour is null then 'unknown'
            when hour >= 4 and hour < 12 then 'early'
            when hour >= 12 and hour < 20 then 'late'
            else 'night'
        end as shift,
        case
            when hours is null then 'unknown'
            else lpad(cast(least(hours + 1, 13) as varchar), 2, '0')
        end as shift_hour,
        /* :if shift or shift_hour */
        *
    from counted
)
select
    /* groups: */ a.shift as shift, a.shift_hour as shift_hour, /* :groups */
    a.outcome, cast(sum(a.attempts) as bigint) as attempts
from told as a
where /* filters: */ true /* :filters */
group by all order by all
