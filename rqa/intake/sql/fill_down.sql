-- Rows of $files in which an empty cell of a filled column means that of the row above, in the same file.
(select * replace ($filled) from $files)
