"""What a load may take unless told otherwise."""

WAIT_SECONDS = 60.0
"""How long to wait for another load of the same store to end."""
MEMORY = "1500MB"
"""What the engine may use; the rest goes to disk beside the store. More hardly makes a load faster."""
