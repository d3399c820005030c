-- The kinds of work that jobs are of, numbered so that long look-ups can carry one number instead of four texts.
-- A row is one site, model, procedure and billing of a job ('unknown' where none is given), with its number (kind), from 1
-- on; or kind 0, with all of them 'unknown', for log rows whose job is not in the store.
-- Parameters: none. Not counted: nothing.
create or replace view kinds_of_work as
select site, model, procedure, billing, row_number() over (order by site, model, procedure, billing) as kind
from (
    select distinct
        coalesce(site, 'unknown') as site, coalesce(model, 'unknown') as model,
        coalesce(procedure, 'unknown') as procedure, coalesce(billing, 'unknown') as billing
    from jobs
) as each_once
union all
select 'unknown', 'unknown', 'unknown', 'unknown', 0
