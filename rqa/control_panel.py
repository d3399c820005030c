"""A panel of selectors in a notebook: site, model, procedure, window and months, and four charts that follow them.

It needs ipywidgets (`pip install "rqa[panel]"`) and a running notebook. Without either it shows the same four charts as
they are, for what the depot is limited to. It loads nothing from the network.
"""

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.util import find_spec
from typing import Any

from rqa.answers.core.result import Answer
from rqa.answers.core.scope import month_range, next_month
from rqa.depot import Depot
from rqa.errors import RqaError
from rqa.measures.run import counts
from rqa.notebooks import STILL
from rqa.plots import plot
from rqa.plots.renderer import LOOK, VEGA, render
from rqa.words import counted, day_name, month_key, month_name

NAMES = ("site", "model", "procedure")
WINDOWS = (7, 14, 30, 60, 90, 180, 365)
HOW = "Run this cell in JupyterLab to choose site, model, procedure, window and months here."
INSTALL = 'To choose site, model, procedure, window and months here, install ipywidgets: pip install "rqa[panel]"'
ALL = "all"
WINDOW = 30
"""The window of questions that are given none."""


@dataclass(frozen=True)
class Shown:
    """A chart of the panel: its heading, and what is asked of the depot."""

    heading: str
    ask: Callable[[Depot], Answer]


CHARTS = (
    Shown("Is this month chance?", lambda depot: depot.control_chart("comebacks")),
    Shown("What the young months will show", lambda depot: depot.projection()),
    Shown("Which work comes back", lambda depot: depot.comebacks(by=("procedure", "model"))),
    Shown("Which steps send units back", lambda depot: depot.steps.attribution()),
)


class Panel:
    """Selectors and four charts; the last expression of a cell shows it."""

    names, window = NAMES, WINDOW

    def __init__(self, depot: Depot, charts: Sequence[Shown] = CHARTS) -> None:
        self._depot, self.charts = depot, tuple(charts)
        self.limits: dict[str, Any] = dict(depot.limits)
        self._widgets: Any = None

    def __repr__(self) -> str:
        return f"<panel of {self.depot!r}: {', '.join(chart.heading for chart in self.charts)}>"

    @property
    def depot(self) -> Depot:
        """The depot as limited by the selectors."""
        return self._depot.limited_to(**self.limits)

    @property
    def said(self) -> str:
        """What the charts are limited to, as a sentence."""
        depot = self.depot
        within = counted(depot.limits.get("window") or WINDOW, "day")
        return f"Shown: {depot.limited or 'all work'}; come-backs within {within}; as of {day_name(depot.as_of)}."

    def choose(self, **limits: Any) -> None:
        """Limit the charts otherwise: site, model, procedure, window, months; `RequestError` for what is not there."""
        chosen = self.limits | limits
        self._depot.limited_to(**chosen)
        self.limits = chosen

    def bundles(self, *, still: bool = True) -> list[dict[str, Any]]:
        """What a notebook shows of each chart: the chart, or the sentence that says why there is none."""
        depot = self.depot
        return [_bundle(chart, depot, still=still) for chart in self.charts]

    def options(self, name: str) -> list[tuple[str, Any]]:
        """What a selector offers, as (text, value); what the depot is limited to is among it."""
        if name == "window":
            there: list[tuple[str, Any]] = [(counted(days, "day"), days) for days in WINDOWS]
            given = self.limits.get("window")
            return there if given in (None, *WINDOWS) else [(counted(given, "day"), given), *there]
        if name == "months":
            return [(month_name(month), month_key(month)) for month in _months(self._depot)]
        values = counts(self._depot._snapshot.store, "values_jobs", by=(name,))[name].to_list()
        offered: list[tuple[str, Any]] = [(ALL, None), *((value, value) for value in values)]
        given = self.limits.get(name)
        return offered if given in (None, *values) else [*offered, (", ".join(map(str, given or ())), given)]

    def ends(self) -> tuple[str, str]:
        """The first and last month chosen, as the selectors offer them; all where none is."""
        there = [value for _, value in self.options("months")]
        chosen = month_range("panel", self.limits.get("months"))
        first, last = map(month_key, chosen) if chosen else (there[0], there[-1])
        return (first if first in there else there[0]), (last if last in there else there[-1])

    def _ipython_display_(self) -> None:
        from IPython.display import display

        if _is_live():
            from rqa.control_widgets import Widgets

            self._widgets = self._widgets or Widgets(self)
            display(self._widgets.box)
            return
        said = HOW if find_spec("ipywidgets") else INSTALL
        for bundle in (*self.bundles(), {"text/plain": said, "text/markdown": said}):
            display(bundle, raw=True, metadata=LOOK if VEGA in bundle else {})


def panel(depot: Depot) -> Panel:
    """Selectors for site, model, procedure, window and months, and four charts that are drawn anew when one is moved.

    As the last expression of a notebook's cell. Selectors begin with what the depot is limited to
    (`depot.limited_to(site="Alder")`). Without ipywidgets, or where the notebook is run without anybody to choose, the
    four charts are shown as they are.

    >>> panel(depot.limited_to(site="Alder")).options("site")[:3]
    [('all', None), ('Alder', 'Alder'), ('Birch', 'Birch')]
    """
    return Panel(depot)


def _bundle(chart: Shown, depot: Depot, *, still: bool) -> dict[str, Any]:
    try:
        spec: Mapping[str, Any] = plot(chart.ask(depot)).to_dict()
    except RqaError as error:
        said = f"{chart.heading} {error}"
        return {"text/plain": said, "text/markdown": f"**{chart.heading}** {_plain(str(error))}"}
    return render(dict(spec), picture=still)


def _plain(text: str) -> str:
    """A text without what Markdown takes for marks."""
    return "".join(f"\\{sign}" if sign in "\\`*_{}[]<>()#+-!|" else sign for sign in text)


def _months(depot: Depot) -> list[date]:
    """The months of a store's data, the first first."""
    snapshot = depot._snapshot
    month, last = (snapshot.first or snapshot.day).replace(day=1), snapshot.day.replace(day=1)
    months = [month]
    while month < last:
        month = next_month(month)
        months.append(month)
    return months


def _is_live() -> bool:
    """Whether somebody can move a selector: in a notebook's kernel, with ipywidgets, and not in a run of its own."""
    from IPython import get_ipython

    return hasattr(get_ipython(), "kernel") and find_spec("ipywidgets") is not None and not os.environ.get(STILL)
