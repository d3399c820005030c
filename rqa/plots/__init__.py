"""Pictures of answers: `plot` draws one, in the kit's own look. No query is made and no file written here."""

from rqa.plots.dispatch import plot

__all__ = ["plot"]
