-- The goals, each with the month from which it holds; a later one of the same measure takes its place.
-- A row is one goal. Parameters: none.
select measure, from_month, value
from targets
order by measure, from_month
