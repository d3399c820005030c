"""The command line: what `rqa` can be asked for, put together from the modules of its commands."""

from rqa.commands import logs, month, start, work
from rqa.commands.base import TO_ACT, WENT_WRONG, main

COMMANDS = (logs, month, start, work)
"""Importing them is what makes their commands those of `main`."""
__all__ = ["COMMANDS", "TO_ACT", "WENT_WRONG", "main"]
