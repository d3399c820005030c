-- Units one by one, each by its first index job.
-- A row is one unit: job_id of its first index job (by closing day, then id), returns: how often it came back up to age $upto,
-- seen_days: how long it was seen.
-- Parameters: $upto days of age up to which units are looked at, $as_of date, $disposition of the index jobs.
-- Not counted: as in returns_per_unit.sql.
-- Grouped by: month of day u.first_on; job of u.
with
-- one row a unit: its first index job
first_jobs as (
    select unit_id, min_by(job_id, row(closed_on, job_id)) as job_id
    from links
    where disposition = $disposition
    group by unit_id
)
select
    /* groups: */ u.model as model, /* :groups */
    f.job_id, u.unit_id as of_unit, cast(len(u.return_days) as bigint) as returns, u.end_day as seen_days
from unit_histories($as_of, $upto, $disposition) as u
join first_jobs as f on f.unit_id = u.unit_id
where /* filters: */ true /* :filters */
order by all
