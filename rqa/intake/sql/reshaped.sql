-- The rows as reshaped.
select * from $files
