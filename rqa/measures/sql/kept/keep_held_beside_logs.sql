-- What the tables beside the jobs and their logs hold at all; made anew by each load.
-- A row is one kind of thing (what), and of some its name, else ''. 'parts', 'procedures', 'tests', 'pairings', 'retirements',
-- 'actions', 'targets', 'studies': there is a row of that table; 'lot': a part with its lot; 'subsystems': a step that says what
-- it touches; 'isolation': a procedure that says when the battery is isolated, by name; 'described_jobs': a job of a procedure
-- that is declared; 'covered_tests': a run of a test of which is known what it covers.
-- Not counted: how many rows there are. Reads held_rows.
select 'parts' as what, '' as name where exists (select 1 from parts)
union all
select 'lot', '' where exists (select 1 from parts where lot is not null)
union all
select 'procedures', '' where exists (select 1 from procedures)
union all
select 'subsystems', '' where exists (select 1 from procedures where len(subsystems) > 0)
union all
select distinct 'isolation', procedure from procedure_plan where isolates
union all
select 'described_jobs', '' where exists (
    select 1 from procedures as p join held_rows as h on h.what = 'procedure' and h.name = p.procedure
)
union all
select 'tests', '' where exists (select 1 from tests)
union all
select 'covered_tests', '' where exists (select 1 from tests as t join held_rows as h on h.what = 'test' and h.name = t.test)
union all
select 'pairings', '' where exists (select 1 from pairings)
union all
select 'retirements', '' where exists (select 1 from retirements)
union all
select 'actions', '' where exists (select 1 from actions)
union all
select 'targets', '' where exists (select 1 from targets)
union all
select 'studies', '' where exists (select 1 from studies)
order by what, name
