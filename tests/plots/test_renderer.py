"""Charts in notebooks: what is kept, and that switching it on changes nothing the second time."""

import json
import subprocess
import sys

from rqa.plots import plot
from rqa.plots.renderer import VEGA, render
from tests.plots.made_answers import by_model


def test_a_notebook_keeps_vega_a_picture_and_a_text() -> None:
    kept = render(plot(by_model()).to_dict())
    assert list(kept) == [VEGA, "image/svg+xml", "text/plain"]
    assert kept[VEGA]["$schema"].endswith("vega/v5.json")
    assert kept["image/svg+xml"].startswith("<svg")
    assert kept["text/plain"].startswith("Come-backs within 30 days, by model.")
    json.dumps(kept, allow_nan=False)


def test_notebook_is_quiet_and_may_be_called_again() -> None:
    """Run apart, since it changes the session's tables and charts."""
    code = (
        "import rqa, altair as alt, polars as pl\n"
        "assert rqa.notebook() is None\n"
        "first = (alt.renderers.active, pl.Config.state())\n"
        "assert rqa.notebook() is None\n"
        "assert (alt.renderers.active, pl.Config.state()) == first\n"
        "assert alt.renderers.active == 'rqa'\n"
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
