"""Every public question of a depot, found by looking at `Depot`, with arguments that hold on any depot."""

import inspect
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from importlib import import_module
from operator import attrgetter
from typing import Any

from rqa.asking import Area
from rqa.depot import Depot

NO_QUESTIONS = ("close", "limited_to", "query", "views")
"""Public methods that ask nothing of the trade."""
AREAS = tuple(name for name, kept in vars(Depot).items() if isinstance(kept, cached_property))
Asked = tuple[str, Mapping[str, Any]]

MORE: tuple[Asked, ...] = (
    ("comebacks", {"window": 90, "by": ("site", "month")}),
    ("comebacks", {"by": ("class",)}),
    ("comebacks", {"by": ("procedure", "model"), "where": {"class": ["repeat", "workmanship"]}}),
    ("comebacks", {"by": ("bench",)}),
    ("comebacks", {"by": ("technician", "billing"), "index_disposition": "no_fault_found"}),
    ("returns.curve", {"by": "part_no"}),
    ("returns.curve", {"cause": ["repeat", "workmanship"]}),
    ("returns.cohorts", {"by": ("part_no", "lot")}),
    ("returns.mix", {"made_of": "class", "by": ("site",)}),
    ("returns.compare_curves", {"by": "site", "within": "model"}),
    ("first_pass_yield", {"by": ("phase",)}),
    ("first_pass_yield", {"by": ("test", "station")}),
    ("first_pass_yield", {"by": ("tool", "month")}),
    ("first_pass_yield", {"by": ("shift_hour",)}),
    ("first_pass_yield", {"by": ("days_since_training",)}),
    ("yields.clean", {"by": ("site", "month")}),
    ("compare", {"who": "bench", "outcome": "comeback"}),
    ("compare", {"who": "site", "outcome": "clean_job"}),
    ("compare", {"who": "station", "outcome": "first_run"}),
    ("compare", {"who": "tool"}),
    *(
        ("between", {"before": ("2025-01", "2025-02"), "after": ("2025-03", "2025-04"), **how})
        for how in ({"by": ("class",)}, {"measure": "first_pass_yield"}, {"measure": "first_run_pass", "by": "site"})
    ),
    *(
        ("control_chart", {"measure": measure})
        for measure in ("first_pass_yield", "first_run_pass", "clean_jobs", "failed_checks", "labour_minutes",
                        "jobs_between_comebacks", "days_between_comebacks")
    ),
    ("control_chart", {"measure": "test_values", "by": ("test",)}),
    ("control_chart", {"measure": "step_values", "by": ("step",)}),
    ("control_chart", {"measure": "step_minutes", "by": ("step",)}),
    ("charts.capability", {"measure": "step_values"}),
    ("steps.bursts", {"what": "failed_checks", "simulations": 19}),
    ("steps.attribution", {"per": "hazard"}),
    ("steps.attribution", {"by": ("model",), "per": "tool"}),
    ("steps.conformance", {"per": "job", "by": ("site",)}),
    ("steps.breaches", {"steps": True}),
    ("steps.risk", {"by": ("model",)}),
    ("costs", {"by": ("month",)}),
    ("tests.readings", {"by": ("test", "station")}),
    ("tests.retests", {"by": ("test", "station")}),
    ("tests.escapes", {"by": ("subsystem",)}),
    ("yields.rework", {"by": ("phase",)}),
    ("actions.power", {"change": "by a third"}),
    ("charts.month_against_before", {"measure": "first_run_pass"}),
    ("charts.watch", {"false_alarms": 1000.0}),
)
"""Questions with other than their default arguments, where these lead to other tables and columns."""


def public_questions() -> list[str]:
    """The names of all methods of a depot that ask something."""
    front = [name for name, _ in inspect.getmembers(Depot, inspect.isfunction) if not name.startswith("_")]
    areas = [f"{area}.{name}" for area in AREAS for name in vars(area_of(area)) if not name.startswith("_")]
    return [name for name in (*front, *areas) if name not in NO_QUESTIONS]


def area_of(name: str) -> type[Area]:
    """The class of an area of a depot."""
    kept = vars(Depot)[name]
    return getattr(import_module(f"rqa.questions.{name}"), kept.func.__annotations__["return"])


def method(name: str) -> Callable[..., Any]:
    """A question's method, of the class."""
    area, _, question = name.rpartition(".")
    return getattr(area_of(area) if area else Depot, question)


def asked_of(depot: Any, name: str) -> Callable[..., Any]:
    """A question's method, bound to a depot."""
    return attrgetter(name)(depot)


def required(name: str) -> list[str]:
    """The arguments that a question cannot do without."""
    parameters = list(inspect.signature(method(name)).parameters.values())[1:]
    return [p.name for p in parameters if p.default is p.empty]


def every_question(depot: Depot) -> Iterator[Asked]:
    """Each question once with its defaults, what it requires filled from the store, then those of `MORE`."""
    given: dict[str, dict[str, Any]] = {
        "returns.compare_curves": {"by": "model"},
        "unit": {"unit_id": _two(depot, "unit_id")[0]},
        "lot": _lot(depot),
        "between": {"before": ("2024-10", "2024-12"), "after": ("2025-01", "2025-03")},
        "technician": {"technician": _two(depot, "technician")[0]},
        "job": {"job_id": _two(depot, "job_id")[0]},
        "returns.recurrence_difference": {"by": "model", "groups": _two(depot, "model")},
    }
    for name in public_questions():
        needed = set(required(name))
        assert needed == set(given.get(name, {})), f"{name} requires {needed}: say here how to fill it"
        yield name, given.get(name, {})
    yield from MORE


def _lot(depot: Depot) -> dict[str, str]:
    """A lot that was fitted, made up where there is none."""
    found = depot.query("select part_no, lot from parts where lot is not null order by part_no, lot limit 1").rows()
    return dict(zip(("part_no", "lot"), found[0] if found else ("none such", "nor such"), strict=True))


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
        if isinstance(found, Area):
            return RememberingArea(self, name)
        return self.remembered(name, found) if name in public_questions() else found

    def __enter__(self) -> "Remembering":
        return self

    def __exit__(self, *_: object) -> None:
        """The depot stays open for what comes next."""

    def close(self) -> None:
        """The depot stays open for the next notebook."""

    def limited_to(self, **_: Any) -> "Remembering":
        """The notebooks limit it to nothing."""
        return self

    @property
    def answers(self) -> list[Any]:
        """All that was answered so far."""
        return list(self._known.values())

    def remembered(self, name: str, ask: Callable[..., Any]) -> Callable[..., Any]:
        signature = inspect.signature(ask)

        def asked(*args: Any, **how: Any) -> Any:
            bound = signature.bind(*args, **how)
            bound.apply_defaults()
            key = f"{name} {sorted((n, repr(v)) for n, v in bound.arguments.items())}"
            if key not in self._known:
                self._known[key] = ask(*args, **how)
            return self._known[key]

        return asked


class RememberingArea:
    """An area of a remembering depot."""

    def __init__(self, depot: Remembering, area: str) -> None:
        self._depot, self._area = depot, area

    def __getattr__(self, name: str) -> Any:
        full = f"{self._area}.{name}"
        return self._depot.remembered(full, asked_of(self._depot._depot, full))
