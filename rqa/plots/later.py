"""The charting library without a grammar that its checks of specifications never ask for.

Altair imports jsonschema, and that the grammar of international addresses where it is installed, as JupyterLab brings
it; to build it takes longer than all else together. It is built when an address is first checked.
"""

import sys
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType

GRAMMAR = "rfc3987_syntax"


def import_charts() -> None:
    """Import altair, and leave the grammar to whoever asks for it."""
    if GRAMMAR in sys.modules or "jsonschema" in sys.modules or find_spec(GRAMMAR) is None:
        return
    stand_in = ModuleType(GRAMMAR)
    stand_in.is_valid_syntax = _is_valid_syntax  # type: ignore[attr-defined]
    sys.modules[GRAMMAR] = stand_in
    try:
        import_module("altair")
    finally:
        if sys.modules.get(GRAMMAR) is stand_in:
            del sys.modules[GRAMMAR]


def _is_valid_syntax(term: str, value: str) -> bool:
    return bool(import_module(GRAMMAR).is_valid_syntax(term, value))
