-- Units whose ids are most like a text.
-- A row is one unit with a job opened up to $as_of, the most alike first; at most $limit units.
-- Parameters: $unit, the text; $as_of date; $limit units.
-- Not counted: nothing.
select unit_id
from jobs
where opened_on <= $as_of
group by unit_id
order by jaro_winkler_similarity(unit_id, $unit) desc, unit_id
limit $limit
