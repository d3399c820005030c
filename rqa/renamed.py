"""Names of arguments that have changed: the earlier ones work for one version, with a warning that says the new one."""

import inspect
import warnings
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")

ARGUMENTS = {
    "index": ("index_disposition",),
    "least": ("min_cases",),
    "most": ("limit", "max_groups"),
    "together": ("min_overlap",),
    "quiet_months": ("false_alarm_months",),
}
"""Arguments by the names they had, each with the names it has now: that which the function takes is meant."""


def earlier_arguments(ask: Callable[P, R], calls: int = 1) -> Callable[P, R]:
    """The function, which takes its arguments by their earlier names, too, until version 0.3.

    `calls`: how many calls of ours stand between the one that gives the arguments and the function.
    """
    names = set(inspect.signature(ask).parameters)
    now = {old: new for old, given in ARGUMENTS.items() if old not in names for new in given if new in names}

    @wraps(ask)
    def asked(*args: P.args, **given: P.kwargs) -> R:
        for old in now.keys() & given.keys():
            if now[old] in given:
                raise TypeError(f"{ask.__name__}: {old} is the earlier name of {now[old]}; give one of them.")
            warnings.warn(
                f"{ask.__name__}: {old} is called {now[old]} now; the old name goes with version 0.3.",
                DeprecationWarning, calls + 1,
            )
            given[now[old]] = given.pop(old)
        return ask(*args, **given)

    return asked
