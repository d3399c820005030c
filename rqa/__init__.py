"""Repair-quality analytics: come-back rates, first-pass yield and a monthly page from a repair centre's logs.

Importing this package is light; each name below brings in what it needs when it is first used.
"""

from __future__ import annotations

from importlib import import_module

# Checkers of types take this name for true. The module it usually comes from takes longer to import than all of this,
# and meanwhile a signal to the command would end in a traceback.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from rqa.control_panel import panel
    from rqa.depot import Depot, open
    from rqa.inspecting import inspect
    from rqa.loading import load
    from rqa.plots import plot
    from rqa.plots.renderer import enable as notebook
    from rqa.proposals import propose
    from rqa.published_examples import published

__version__: str
__all__ = ["Depot", "__version__", "inspect", "load", "notebook", "open", "panel", "plot", "propose", "published"]

_ROOMS = {
    "Depot": ("rqa.depot", "Depot"),
    "open": ("rqa.depot", "open"),
    "inspect": ("rqa.inspecting", "inspect"),
    "load": ("rqa.loading", "load"),
    "notebook": ("rqa.plots.renderer", "enable"),
    "panel": ("rqa.control_panel", "panel"),
    "plot": ("rqa.plots", "plot"),
    "propose": ("rqa.proposals", "propose"),
    "published": ("rqa.published_examples", "published"),
}


def __getattr__(name: str) -> Any:
    if name == "__version__":
        return import_module("importlib.metadata").version("rqa")
    if name in _ROOMS:
        room, thing = _ROOMS[name]
        return getattr(import_module(room), thing)
    raise AttributeError(f"module 'rqa' has no attribute {name!r}")


def load_ipython_extension(ipython: Any) -> None:
    """`%load_ext rqa` is `rqa.notebook()`."""
    import_module("rqa.plots.renderer").enable()


def __dir__() -> list[str]:
    return sorted(__all__)
