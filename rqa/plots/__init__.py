"""Pictures of answers: `plot` draws one, in the kit's own look. No query is made and no file written here."""

from rqa.plots.later import import_charts

import_charts()

from rqa.plots.dispatch import plot  # noqa: E402  (it imports the charts)

__all__ = ["plot"]
