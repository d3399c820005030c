-- A row for each named set of columns, unless all of them are empty.
(
    select columns(lambda c: lower(c) not in ($hidden)), $taken
    from (select *, unnest([$rows]) as $row from $files)
    where $given_any
)
