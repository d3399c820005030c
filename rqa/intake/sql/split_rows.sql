-- A row for each entry of the split columns, first with first; a row without an entry stays one row.
(
    select * exclude ($entry) replace ($columns)
    from (
        select
            *,
            unnest(
                case
                    when len(list_filter(list_zip($lists), lambda e: coalesce($given_any, false))) > 0
                        then list_filter(list_zip($lists), lambda e: coalesce($given_any, false))
                    else [null]
                end
            ) as $entry
        from $files
    )
)
