"""Charts in notebooks: what is kept, and that switching it on changes nothing the second time."""

import json
import re
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
import vl_convert

from rqa.errors import RqaError
from rqa.plots import plot
from rqa.plots.renderer import VEGA, compiled, render, rendered, still
from rqa.plots.theme import HAIR, INK, PAPER, QUIET
from rqa.shown import UNSHOWN
from tests.plots.made_answers import by_model


def test_a_notebook_keeps_vega_a_picture_and_a_text() -> None:
    kept = render(plot(by_model()).to_dict())
    assert list(kept) == [VEGA, "image/svg+xml", "text/plain"]
    assert kept[VEGA]["$schema"].endswith("vega/v5.json")
    assert kept["image/svg+xml"].startswith("<svg")
    assert kept["text/plain"].startswith("Come-backs within 30 days, by model.")
    json.dumps(kept, allow_nan=False)


def test_the_viewer_s_boxes_have_the_look_of_the_charts() -> None:
    """The look goes beside the chart: one that a chart itself brings is refused by the viewer."""
    _, beside = rendered(plot(by_model()).to_dict(), picture=False)
    style = beside[VEGA]["embed_options"]["defaultStyle"]
    assert "#vg-tooltip-element.rqa-theme {" in style
    assert "/*" not in style
    allowed = {INK, QUIET, HAIR, PAPER}
    assert set(re.findall(r"#[0-9a-f]{6}\b", style)) <= allowed, "ink on paper, as the charts"


def test_notebook_is_quiet_and_may_be_called_again() -> None:
    """Run apart, since it changes the session's tables and charts."""
    code = (
        "import rqa, altair as alt, polars as pl\n"
        "assert rqa.notebook() is None\n"
        "first = (alt.renderers.active, pl.Config.state())\n"
        "assert rqa.notebook() is None\n"
        "assert (alt.renderers.active, pl.Config.state()) == first\n"
        "assert alt.renderers.active == 'rqa'\n"
        "sentence = 'A sentence that a table shows. ' * 15\n"
        "shown = pl.DataFrame({'note': [sentence]})\n"
        "assert sentence in shown._repr_html_(), 'a sentence is cut'\n"
        "assert '…' not in str(shown), 'a sentence is cut'\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_the_extension_is_the_same_switch() -> None:
    code = (
        "from IPython.core.interactiveshell import InteractiveShell\n"
        "import altair as alt\n"
        "InteractiveShell.instance().run_line_magic('load_ext', 'rqa')\n"
        "assert alt.renderers.active == 'rqa'\n"
    )
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


class PanicException(BaseException):
    """As the binding of the drawing library raises it."""


BROKEN = {"title": "Come-backs,\x1b by\nmodel", "mark": 5, "encoding": []}


@pytest.mark.parametrize("ask", [compiled, still])
def test_a_picture_that_cannot_be_drawn_is_named(ask: Callable[[dict[str, Any]], object]) -> None:
    with pytest.raises(RqaError, match="the picture “Come-backs,␛ by␊model” cannot be drawn: ") as caught:
        ask(BROKEN)
    assert not UNSHOWN.search(str(caught.value))


@pytest.mark.parametrize(("ask", "name"), [(compiled, "vegalite_to_vega"), (still, "vegalite_to_svg")])
def test_a_panic_of_the_drawing_library_is_a_message(
    ask: Callable[[dict[str, Any]], object], name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def panics(*_: object, **__: object) -> None:
        raise PanicException("called `Option::unwrap()` on a `None` value")

    monkeypatch.setattr(vl_convert, name, panics)
    with pytest.raises(RqaError, match=r"the picture “T” cannot be drawn: called `Option::unwrap"):
        ask({"title": {"text": ["T"]}})


@pytest.mark.parametrize("stop", [KeyboardInterrupt, SystemExit, MemoryError])
def test_what_stops_a_program_is_no_fault_of_a_picture(
    stop: type[BaseException], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stops(*_: object, **__: object) -> None:
        raise stop

    monkeypatch.setattr(vl_convert, "vegalite_to_svg", stops)
    with pytest.raises(stop):
        still({"title": "T"})


def drawn_apart(code: str) -> subprocess.CompletedProcess[str]:
    """Draw in a process of its own, which a panic may end."""
    head = "import json, sys, vl_convert\nfrom rqa.plots.renderer import compiled, grammar_version, still\n"
    return subprocess.run([sys.executable, "-c", head + code], capture_output=True, text=True, check=False)


EVERY_SIGN = """
codes = (*range(9), *range(0xb, 0x20), *range(0x7f, 0xa0), 0x61c, 0x200e, 0x202e, 0x2066, 0xfdd0, 0xfffe, 0xffff)
signs = [chr(c) for c in codes]
def spec(name):
    return {
        "data": {"values": [{"a": name, "b": 1}]}, "title": name, "description": name, "mark": "bar",
        "config": {"font": name},
        "encoding": {"x": {"field": "b", "type": "quantitative", "title": name}, "y": {"field": "a"}},
    }
"""


def test_no_sign_in_any_name_ends_the_process() -> None:
    """Names in data, titles and fonts, but no layout: the bare library ends the process at the first of these."""
    done = drawn_apart(EVERY_SIGN + "for s in ['x' + ''.join(signs), *('x' + s for s in signs)]:\n    still(spec(s))")
    assert done.returncode == 0, done.stderr[-400:]
    bare = drawn_apart(EVERY_SIGN + "vl_convert.vegalite_to_svg(spec('x\\x00'), vl_version=grammar_version())")
    assert bare.returncode < 0, "the library has mended it: the marks are for the eye alone"
