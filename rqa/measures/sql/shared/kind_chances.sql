-- The chance of each kind of work, out of two lists of equal length.
-- A row is one kind: kind, chance (in billionths). Parameters: of_kinds, of_chances. Not counted: nothing.
create or replace macro kind_chances(of_kinds, of_chances) as table
select unnest(of_kinds::varchar[]) as kind, unnest(of_chances::bigint[]) as chance
