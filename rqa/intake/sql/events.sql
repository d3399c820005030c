-- Attempts at steps of the events that $files gives. Events stand in the order of their times, then in that of rows.
-- An attempt takes of each other column the last text that one of its events gives.
select
    arg_max(columns(lambda c: lower(c) not in ($hidden)), $place),
    any_value($case) as job_id,
    any_value($activity) as step,
    arg_min($time, $place) filter (where $starts) as started_at,
    arg_max($time, $place) filter (where not $starts) as ended_at,
    min($line) as $line
from (
    select *, count(*) filter (where $begins) over (partition by $case, $activity order by $place) as $nth
    from (
        select
            *,
            $starts
            or coalesce(not lag($starts) over (partition by $case, $activity order by $place), true) as $begins
        from (
            select
                *,
                $is_start as $starts,
                row_number() over (partition by $case, $activity order by $moment, $file, $line) as $place
            from ($files)
            where $counts
        )
    )
)
group by $case, $activity, $nth
