"""Every public question of a depot, found by looking at `Depot`, with arguments that hold on any depot."""

import inspect
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from rqa.depot import Depot

NO_QUESTIONS = ("close", "query", "views")
"""Public methods that ask nothing of the trade."""
Asked = tuple[str, Mapping[str, Any]]

MORE: tuple[Asked, ...] = (
    ("comebacks", {"window": 90, "by": ("site", "month")}),
    ("comebacks", {"by": ("class",)}),
    ("comebacks", {"by": ("procedure", "model"), "where": {"class": ["repeat", "workmanship"]}}),
    ("comebacks", {"by": ("bench",)}),
    ("comebacks", {"by": ("technician", "billing"), "index": "no_fault_found"}),
    ("comeback_curve", {"by": "part_no"}),
    ("comeback_curve", {"cause": ["repeat", "workmanship"]}),
    ("cohorts", {"by": ("part_no", "lot")}),
    ("compare_curves", {"by": "site", "within": "model"}),
    ("first_pass_yield", {"by": ("phase",)}),
    ("first_pass_yield", {"by": ("test", "station")}),
    ("first_pass_yield", {"by": ("tool", "month")}),
    ("first_pass_yield", {"by": ("shift_hour",)}),
    ("first_pass_yield", {"by": ("days_since_training",)}),
    ("clean_jobs", {"by": ("site", "month")}),
    ("compare", {"who": "bench", "outcome": "comeback"}),
    ("compare", {"who": "site", "outcome": "clean_job"}),
    ("compare", {"who": "station", "outcome": "first_run"}),
    ("compare", {"who": "tool"}),
    *(
        ("control_chart", {"measure": measure})
        for measure in ("first_pass_yield", "first_run_pass", "clean_jobs", "failed_checks", "labour_minutes",
                        "jobs_between_comebacks", "days_between_comebacks")
    ),
    ("control_chart", {"measure": "test_values", "by": ("test",)}),
    ("control_chart", {"measure": "step_values", "by": ("step",)}),
    ("capability", {"measure": "step_values"}),
    ("bursts", {"what": "failed_checks", "simulations": 19}),
    ("attribution", {"per": "hazard"}),
    ("attribution", {"by": ("model",), "per": "tool"}),
    ("conformance", {"per": "job", "by": ("site",)}),
    ("breaches", {"steps": True}),
    ("step_risk", {"by": ("model",)}),
    ("costs", {"by": ("month",)}),
    ("readings", {"by": ("test", "station")}),
    ("retests", {"by": ("test", "station")}),
    ("escapes", {"by": ("subsystem",)}),
    ("rework", {"by": ("phase",)}),
    ("power", {"change": "by a third"}),
    ("month_against_before", {"measure": "first_run_pass"}),
)  # fmt: skip
"""Questions with other than their default arguments, where these lead to other tables and columns."""


def public_questions() -> list[str]:
    """The names of all methods of a depot that ask something."""
    found = inspect.getmembers(Depot, inspect.isfunction)
    return [name for name, _ in found if not name.startswith("_") and name not in NO_QUESTIONS]


def required(name: str) -> list[str]:
    """The arguments that a question cannot do without."""
    parameters = list(inspect.signature(getattr(Depot, name)).parameters.values())[1:]
    return [p.name for p in parameters if p.default is p.empty]


def every_question(depot: Depot) -> Iterator[Asked]:
    """Each question once with its defaults, what it requires filled from the store, then those of `MORE`."""
    given: dict[str, dict[str, Any]] = {
        "compare_curves": {"by": "model"},
        "recurrence_difference": {"by": "model", "groups": _two(depot, "model")},
    }
    for name in public_questions():
        needed = set(required(name))
        assert needed == set(given.get(name, {})), f"{name} requires {needed}: say here how to fill it"
        yield name, given.get(name, {})
    yield from MORE


def _two(depot: Depot, column: str) -> tuple[str, str]:
    """Two values of a column of the jobs, made up where the store has fewer."""
    there = depot.query(f"select distinct {column} as value from jobs order by value limit 2")["value"].to_list()
    first, second, *_ = [*there, "none such", "nor such"]
    return first, second


class Remembering:
    """A depot that is asked each question once: page and notebooks put many of them again."""

    def __init__(self, depot: Depot) -> None:
        self._depot = depot
        self._known: dict[str, Any] = {}

    def __repr__(self) -> str:
        return repr(self._depot)

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._depot, name)
        if name not in public_questions():
            return found
        return self._remembered(name, found)

    def __enter__(self) -> "Remembering":
        return self

    def __exit__(self, *_: object) -> None:
        """The depot stays open for what comes next."""

    def close(self) -> None:
        """The depot stays open for the next notebook."""

    @property
    def answers(self) -> list[Any]:
        """All that was answered so far."""
        return list(self._known.values())

    def _remembered(self, name: str, ask: Callable[..., Any]) -> Callable[..., Any]:
        signature = inspect.signature(ask)

        def asked(*args: Any, **how: Any) -> Any:
            bound = signature.bind(*args, **how)
            bound.apply_defaults()
            key = f"{name} {sorted((n, repr(v)) for n, v in bound.arguments.items())}"
            if key not in self._known:
                self._known[key] = ask(*args, **how)
            return self._known[key]

        return asked
