"""The page's still pictures, kept beside the store: the same page asked again need not start what draws them."""

import json
from collections.abc import Callable
from importlib.metadata import version
from typing import Any

from rqa.depot import Depot
from rqa.plots.renderer import grammar_version, still

Draw = Callable[[dict[str, Any]], str]


def kept_pictures(depot: Depot) -> Draw:
    """What draws a picture of this depot: as it was drawn before where it is the same, else anew."""
    store, drawn_by = depot._store, f"{version('vl-convert-python')} {grammar_version()}"

    def draw(spec: dict[str, Any]) -> str:
        asked = json.dumps(["picture", drawn_by, spec]).encode()
        known = store.kept(asked)
        if known is not None:
            return known.decode("utf-8", "replace")
        made = still(spec)
        store.keep(asked, made.encode("utf-8", "replace"))
        return made

    return draw
