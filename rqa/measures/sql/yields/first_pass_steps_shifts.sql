-- First attempts at steps by outcome, by the shift and its hour, and by the days since a training.
-- A row is one group and outcome; attempts counts the first attempts.
-- shift: by when it began on the site's own clock: 'early' from 4 to before 12, 'late' from 12 to before 20, 'night' else;
-- shift_hour: '01' is its first hour, '13' the thirteenth and later ones; both 'unknown' without a technician or a time.
-- A shift of a technician begins with a logged attempt after $rest hours or more without one.
-- days_since_training: since the latest action with the technician in its scope had taken effect.
-- Parameters: $as_of date: steps dated later are left out; $rest hours; $sites and $zones, two lists of equal length: the
-- sites' time zones (UTC for a site that is not among them).
-- Not counted: later attempts. A month of null: neither the step nor its job has a date.
-- Grouped by: month, week of day w.day; job of w or 'unknown'; step of w; bench, tool, phase of w or 'unknown'; shift,
--   shift_hour, days_since_training of w.
with
-- one row an attempt, with its technician and time
worked as (
    select *, coalesce(started_at, ended_at) as done_at
    from attempts_of_jobs
),
-- one row an attempt, with the time of the technician's one before
after as (
    select
        w.*,
        lag(w.done_at) over (
            partition by w.technician order by w.done_at, w.job_id, w.step_seq, w.attempt
        ) as before
    from worked as w
    where w.technician is not null and w.done_at is not null
),
-- one row an attempt, with the time at which its shift began
shifts as (
    select
        a.job_id, a.step_seq, a.attempt, a.done_at, a.site,
        max(case when a.before is null or date_diff('second', a.before, a.done_at) >= 3600 * $rest then a.done_at end)
            over (partition by a.technician order by a.done_at) as begun_at
    from after as a
),
-- one row an attempt, with its shift's begin on the site's clock and the seconds since then
clocked as (
    select
        f.job_id, f.step_seq, f.attempt,
        date_diff('second', f.begun_at, f.done_at) as seconds,
        extract(hour from timezone(
            coalesce(cast($zones as varchar[])[list_position(cast($sites as varchar[]), f.site)], 'UTC'),
            timezone('UTC', f.begun_at)
        )) as hour
    from shifts as f
),
-- one row a technician and day on which a training had taken effect
trainings as (
    select trim(who.technician) as technician, a.started_on
    from actions as a,
        unnest(string_split(regexp_extract(a.scope, '(?:^|;)\s*technician\s*=\s*([^;]*)', 1), ',')) as who (technician)
    where trim(who.technician) <> ''
),
-- one row a trained technician and day of work, with the last training up to it
trained as (
    select d.technician, d.day, max(t.started_on) as trained_on
    from (select distinct technician, day from worked where day is not null) as d
    join trainings as t on t.technician = d.technician and t.started_on <= d.day
    group by d.technician, d.day
),
-- one row a first attempt
attempts as (
    select
        w.*, p.phase,
        case
            when c.hour is null then 'unknown'
            when c.hour >= 4 and c.hour < 12 then 'early'
            when c.hour >= 12 and c.hour < 20 then 'late'
            else 'night'
        end as shift,
        case
            when c.seconds is null then 'unknown'
            else lpad(cast(least(c.seconds // 3600 + 1, 13) as varchar), 2, '0')
        end as shift_hour,
        case
            when w.technician is null or w.technician not in (select technician from trainings) then 'no training'
            when w.day is null then 'unknown'
            when t.trained_on is null then 'before training'
            when date_diff('day', t.trained_on, w.day) <= 30 then '0 to 30 days'
            when date_diff('day', t.trained_on, w.day) <= 90 then '31 to 90 days'
            when date_diff('day', t.trained_on, w.day) <= 180 then '91 to 180 days'
            else 'after 180 days'
        end as days_since_training
    from worked as w
    left join clocked as c on c.job_id = w.job_id and c.step_seq = w.step_seq and c.attempt = w.attempt
    left join trained as t on t.technician = w.technician and t.day = w.day
    left join declared_steps as p on p.procedure = w.procedure and p.step = w.step
    where w.attempt = 1 and coalesce(w.day <= $as_of, true)
)
select
    /* groups: */ w.shift as shift, w.shift_hour as shift_hour, /* :groups */
    w.outcome, cast(count(*) as bigint) as attempts
from attempts as w
where /* filters: */ true /* :filters */
group by all
order by all
