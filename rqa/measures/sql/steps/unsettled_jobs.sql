-- Repaired jobs closed by a day that have a step dated later.
-- A row is the store. Parameters: $as_of date. Not counted: which they are.
select cast(count(*) as bigint) as jobs
from job_turns
where turn = 1 and disposition = 'repaired' and closed_on <= $as_of and settled_on > $as_of
