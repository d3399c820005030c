-- The names that the reference tables declare, whether or not a log has them.
-- A row is one name: kind (procedure, step or test), name. Parameters: none. Not counted: nothing.
select distinct kind, name
from (
    select 'procedure' as kind, procedure as name from procedures
    union all
    select 'step' as kind, step as name from procedures
    union all
    select 'test' as kind, test as name from tests
)
order by kind, name
