"""The words of charts are those of everything that is said: see `rqa.words`."""

from rqa.words import *  # noqa: F403
