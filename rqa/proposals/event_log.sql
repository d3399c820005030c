-- A log with a row for each event becomes a log with a row for each attempt at a step. Filled in: the log's columns
-- {job}, {step}, {kind}, {time}, {person}, {outcome}; {files}, the named files; {start} and {end}, the texts of the kinds.
select {job} as job_id, {step} as step,{person}
       min({time}) filter (where {kind} in ({start})) as started_at,
       max({time}) filter (where {kind} in ({end})) as ended_at,
       {outcome} as outcome,
       any_value(source_file) as source_file, min(source_row) as source_row
from (select *, count(*) filter (where {kind} in ({start}))
        over (partition by {job}, {step} order by {time}, source_row) as nth from {files})
group by {job}, {step}, nth
