"""The panel: selectors that draw the charts anew, and the charts alone where nobody can choose."""

import pkgutil
import sys
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

import IPython.display
import pytest

import rqa
from rqa.control_panel import HOW, INSTALL, Panel, Shown, panel
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.notebooks import STILL
from rqa.plots.renderer import VEGA
from tests.depots import depot_of

TWO = (
    Shown("Which work comes back", lambda depot: depot.comebacks(by=("site", "model"))),
    Shown("Which steps fail", lambda depot: depot.first_pass_yield(by=("phase",))),
)


START = datetime(2026, 1, 5, 9)


def small(**more: Any) -> dict[str, Any]:
    """Sixty jobs at two sites and of two models over four months, some back after ten days."""
    jobs: list[dict[str, Any]] = []
    for n in range(60):
        opened = START + timedelta(days=2 * n)
        jobs.append({
            "job_id": f"J{n}", "unit_id": f"U{n}", "site": ("Alder", "Birch")[n % 2],
            "model": ("Marl-8", "Marl-10")[n // 2 % 2], "opened_at": opened, "closed_at": opened + timedelta(hours=5),
        })
        if n % 7 == 0:
            jobs.append(jobs[-1] | {"job_id": f"R{n}", "opened_at": opened + timedelta(days=10 + 30 * (n % 2)),
                                    "closed_at": opened + timedelta(days=11 + 30 * (n % 2))})
    return {"jobs": jobs, **more}


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    steps = [{"job_id": f"J{n}", "step": "open", "ended_at": START, "outcome": "pass"} for n in range(60)]
    with depot_of(small(steps=steps), date(2026, 8, 1)) as made:
        yield made


@pytest.fixture
def moved(depot: Depot) -> Any:
    """The selectors of a panel of two charts, as a live notebook makes them."""
    pytest.importorskip("ipywidgets")
    from rqa.control_widgets import Widgets

    return Widgets(Panel(depot, TWO))


def drawn(widgets: Any) -> list[str]:
    return [place.outputs[0]["data"]["text/plain"] for place in widgets.charts]


EVERY = ""
"""The value of a selector that chooses all."""


def test_moving_a_selector_draws_what_the_limited_depot_answers(depot: Depot, moved: Any) -> None:
    sites = [value for _, value in Panel(depot).options("site")]
    assert sites[0] is None
    before = drawn(moved)
    moved.selectors["site"].value = sites[1]
    moved.selectors["window"].value = 60
    limited = depot.limited_to(site=sites[1], window=60)
    expected = [Panel(limited, TWO).bundles(still=False)[n]["text/plain"] for n in range(2)]
    assert drawn(moved) == expected != before
    assert "within 60 days" in expected[0]
    assert f"Shown: site={sites[1]}; come-backs within 60 days" in moved.said.value
    moved.selectors["site"].value = EVERY
    assert moved.selectors["site"].label == "all"
    moved.selectors["window"].value = 30
    assert drawn(moved) == before


def test_each_chart_is_drawn_offline_by_the_bundled_viewer(moved: Any) -> None:
    for place in moved.charts:
        assert list(place.outputs[0]["data"]) == [VEGA, "text/plain"]
        assert "http" not in str(place.outputs[0]["data"][VEGA]).replace(
            "https://vega.github.io/schema/vega/v5.json", ""
        ), "the chart names an address"


def test_months_that_are_the_wrong_way_round_are_said_and_the_charts_stay(moved: Any) -> None:
    first = moved.selectors["first"]
    months = [value for _, value in first.options]
    moved.selectors["last"].value = months[1]
    before = drawn(moved)
    first.value = months[2]
    assert f"the end, {months[1]}, is before the start, {months[2]}" in moved.said.value
    assert drawn(moved) == before
    first.value = months[0]
    moved.selectors["last"].value = months[-1]
    assert moved._panel.limits["months"] is None


def test_selectors_begin_with_what_the_depot_is_limited_to(depot: Depot) -> None:
    pytest.importorskip("ipywidgets")
    from rqa.control_widgets import Widgets

    both = [value for _, value in Panel(depot).options("model")][1:3]
    months = [value for _, value in Panel(depot).options("months")]
    limited = depot.limited_to(model=both, window=45, months=(months[1], months[3]))
    chosen = {name: each.value for name, each in Widgets(Panel(limited, TWO)).selectors.items()}
    assert chosen == {
        "site": EVERY, "model": both, "procedure": EVERY, "window": 45, "first": months[1], "last": months[3]
    }


def shown_by(of: Panel, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    said: list[dict[str, Any]] = []
    monkeypatch.setattr(IPython.display, "display", lambda bundle, raw=False, metadata=None: said.append(bundle))
    of._ipython_display_()
    return said


@pytest.mark.parametrize("why", ["no widgets", "nobody there"])
def test_without_somebody_to_choose_the_charts_are_shown(
    depot: Depot, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    class Shell:
        kernel = object()

    monkeypatch.setattr(IPython, "get_ipython", Shell)
    if why == "no widgets":
        monkeypatch.setitem(sys.modules, "ipywidgets", None)
        monkeypatch.setattr("rqa.control_panel.find_spec", lambda name: None)
        monkeypatch.delenv(STILL, raising=False)
    else:
        monkeypatch.setenv(STILL, "1")
        monkeypatch.setattr("rqa.control_panel.find_spec", lambda name: object())
    said = shown_by(Panel(depot, TWO), monkeypatch)
    assert [list(bundle) for bundle in said[:2]] == [[VEGA, "image/svg+xml", "text/plain"]] * 2
    assert said[2]["text/plain"] == (INSTALL if why == "no widgets" else HOW)


def test_in_a_live_notebook_the_selectors_are_shown(depot: Depot, monkeypatch: pytest.MonkeyPatch) -> None:
    widgets = pytest.importorskip("ipywidgets")

    class Shell:
        kernel = object()

    monkeypatch.setattr(IPython, "get_ipython", Shell)
    monkeypatch.delenv(STILL, raising=False)
    said = shown_by(Panel(depot, TWO), monkeypatch)
    assert [type(each) for each in said] == [widgets.VBox]


def test_a_chart_that_cannot_be_asked_says_why(depot: Depot) -> None:
    def fails(_: Depot) -> Any:
        raise RequestError("there is no *such* thing.")

    said = Panel(depot, [Shown("Why?", fails)]).bundles()
    assert said == [{
        "text/plain": "Why? there is no *such* thing.",
        "text/markdown": "**Why?** there is no \\*such\\* thing.",
    }]


def test_the_four_charts_are_drawn_of_jobs_alone() -> None:
    with depot_of(small()) as few:
        bundles = panel(few).bundles(still=False)
    assert [VEGA in bundle or "text/markdown" in bundle for bundle in bundles] == [True] * 4
    assert VEGA in bundles[0]


def test_what_is_not_there_is_an_error(depot: Depot) -> None:
    of = Panel(depot, TWO)
    with pytest.raises(RequestError, match="there is no site 'Nowhere'"):
        of.choose(site="Nowhere")
    assert of.limits == {}
    assert repr(of).startswith("<panel of <depot ")


def test_it_can_be_asked_twice(depot: Depot) -> None:
    """A module of its name, once imported, would be an attribute of the package and stand in its place."""
    assert "panel" not in {module.name for module in pkgutil.iter_modules(rqa.__path__)}
    assert isinstance(rqa.panel(depot), Panel)
    assert isinstance(rqa.panel(depot), Panel)
