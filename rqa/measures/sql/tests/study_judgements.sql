-- Judgements of planned studies of the measuring: what was read or judged, unit by unit, appraiser by appraiser.
-- A row is one judgement; test is '' where the study names none. A study is small, so its rows come out as they are.
-- Parameters: none. Not counted: jobs opened again (study 'recheck', as in rechecked_jobs.sql).
select
    s.study, coalesce(s.test, '') as test, s.unit as item, s.appraiser, cast(s.trial as bigint) as trial,
    cast(s.value as double) as value, s.outcome, s.reference
from studies as s
where lower(s.study) <> 'recheck' and /* filters: */ true /* :filters */
order by s.study, test, item, s.appraiser, s.trial
