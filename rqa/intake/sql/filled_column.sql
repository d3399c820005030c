-- One column that is filled down.
last_value($column ignore nulls) over (
    partition by $file order by $line rows between unbounded preceding and current row
) as $column
