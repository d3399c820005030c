-- Tests that were run, and whether the table of what tests cover knows them.
-- A row is one test that has runs; covering: its rows in that table. Not counted: tests that were never run.
select
    r.test,
    cast(count(t.test) as bigint) as covering
from (select distinct test from diagnostics) as r
left join tests as t on t.test = r.test
group by r.test
order by r.test
