"""What a load or a reader may take unless told otherwise."""

import re

SIZE = re.compile(r"(\d+(?:\.\d+)?) ?([kmgt])i?b", re.IGNORECASE)
"""A size of memory, such as 1.5GB or 512 MiB: its number, and the letter of its unit."""
WAIT_SECONDS = 60.0
"""How long to wait for another load of the same store to end."""
MEMORY = "1500MB"
"""What the engine may use; a load puts the rest on disk beside the store, a reader in the folder for temporary files.
More hardly makes a load or an answer faster."""
SQL_MINUTES = 30.0
"""How long the SQL of one entry of a mapping may run over one source, unless the workspace sets `sql_minutes`."""
