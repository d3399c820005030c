-- Tests that were run, and whether the table of what tests cover knows them.
-- A row is one test that has runs; covering: its rows in that table. Not counted: tests that were never run.
select
    r.name as test,
    cast(count(t.test) as bigint) as covering
from held_rows as r
left join tests as t on t.test = r.name
where r.what = 'test'
group by r.name
order by r.name
