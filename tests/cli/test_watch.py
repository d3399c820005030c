"""`rqa watch`: each signal is said once, again when it ended and came back; exit code 3; three formats."""

import json
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import polars as pl
import pytest
from click.testing import CliRunner

from rqa.changes_told import STATE, State, html, read_state, text, told
from rqa.cli import main
from rqa.errors import RequestError
from tests.odd_depots.depots import write_workspace

DAY = date(2026, 3, 2)


def answer(*signals: tuple[str, int, int]) -> Any:
    """An answer with these signals: series, and how many days ago it began and was raised."""
    rows = [
        {"series": series, "since": DAY - timedelta(since), "raised_on": DAY - timedelta(raised), "expected": 2.0,
         "ratio": 3.0, "counted": "6 come-backs of 40 jobs, 2.0 expected"}
        for series, since, raised in signals
    ]
    schema = {"series": pl.String, "since": pl.Date, "raised_on": pl.Date, "expected": pl.Float64,
              "ratio": pl.Float64, "counted": pl.String}
    return SimpleNamespace(table=pl.DataFrame(rows, schema=schema), notes=("A note.",))


def series_of(rows: Any) -> list[str]:
    return [r["series"] for r in rows]


def test_a_signal_is_new_once_and_again_when_it_came_back() -> None:
    first = told(answer(("model Marl-10", 40, 20), ("step open", 30, 10)), DAY, State("", {}))
    assert series_of(first.new) == ["model Marl-10", "step open"]
    second = told(answer(("model Marl-10", 40, 20)), DAY + timedelta(7), first.state)
    assert (series_of(second.new), series_of(second.standing), second.ended) == ([], ["model Marl-10"], ("step open",))
    # A limit that moved raises the same signal on another day: nothing new. One that grew anew is another signal.
    third = told(answer(("model Marl-10", 40, 12), ("step open", 5, 1)), DAY + timedelta(14), second.state)
    assert (series_of(third.new), series_of(third.standing)) == (["step open"], ["model Marl-10"])
    fourth = told(answer(("model Marl-10", 6, 2)), DAY + timedelta(21), first.state)
    assert series_of(fourth.new) == ["model Marl-10"]


def test_messages_lead_to_the_jobs_and_cannot_be_steered() -> None:
    what = told(answer(("lot <b>:K\n1", 40, 20)), DAY, State("", {}))
    assert 'rqa jobs out --watch "lot <b>:K' in text(what, "out")
    assert "K\n1" not in text(what, "out")
    assert "<b>:K" not in html(what, "out")
    assert "&lt;b&gt;:K" in html(what, "out")


@pytest.fixture(scope="module")
def workspace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    import rqa

    folder = write_workspace("healthy", tmp_path_factory.mktemp("watched"))
    rqa.load(folder)
    return folder


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, list(words))
    return done.exit_code, done.output


def test_the_command_says_each_signal_once(workspace: Path, tmp_path: Path) -> None:
    loud = ("watch", str(workspace), "--false-alarms", "100000")
    again, shown = run(*loud, "--again", "--format", "json")
    found = json.loads(shown)
    assert again == 3
    assert not (workspace / STATE).exists()
    page = tmp_path / "watch.html"
    code, said = run(*loud, "--format", "html", "--to", str(page))
    assert code == 3
    assert page.read_text(encoding="utf-8").rstrip() == said.rstrip()
    code, said = run(*loud)
    assert code == 0
    assert "0 new signals" in said
    state = json.loads((workspace / STATE).read_text(encoding="utf-8"))
    assert set(state["said"]) == {r["series"] for r in found["new"]}
    row = found["new"][0]
    code, listed = run("jobs", str(workspace), "--watch", row["series"], "--false-alarms", "100000", "--to",
                       str(tmp_path / "list.csv"))
    assert code == 0, listed
    assert pl.read_csv(tmp_path / "list.csv").height == row["jobs"]
    code, said = run("watch", str(workspace))
    assert code in (0, 3)
    assert "Ended since it was said" in said
    (workspace / STATE).write_text("{}", encoding="utf-8")
    code, said = run(*loud)
    assert code == 1
    assert "move it away" in said
    (workspace / STATE).unlink()
    assert run("watch", str(workspace), "--as-of", "2025-03-10")[0] != 0
    assert run("watch", str(workspace), "--as-of", "2025-03-10", "--again")[0] in (0, 3)
    assert run("jobs", str(workspace), "--where", "", "--false-alarms", "2")[0] == 1


def test_a_state_that_is_none_is_refused(tmp_path: Path) -> None:
    assert read_state(tmp_path) == State("", {})
    for text_of in ("", "[]", '{"looked_on": "soon", "said": {}}', '{"looked_on": "2026-01-01", "said": {"a": 3}}'):
        (tmp_path / STATE).write_text(text_of, encoding="utf-8")
        with pytest.raises(RequestError, match="move it away"):
            read_state(tmp_path)
