"""A technician's own sheet: figures against a row loop, what it names, what it refuses, and how much paper it takes."""

import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import rqa
from rqa.cli import main
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.review.compare.own_sheet import page
from rqa.review.printed import browser
from tests.sample_store import SAMPLE, fresh_store


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    fresh_store()
    with rqa.open(SAMPLE) as opened:
        yield opened


@pytest.fixture(scope="module")
def own(depot: Depot) -> Any:
    return depot.technician("T05")


def test_the_steps_are_those_of_the_rows(depot: Depot, own: Any) -> None:
    """Own failures and those expected, from every first check, one by one."""
    rows = depot.query(
        "select coalesce(s.technician, j.technician) as who, j.model, j.procedure, j.billing, s.step, s.outcome "
        "from steps s left join jobs j using (job_id) where s.attempt = 1 and s.outcome in ('pass', 'fail')"
    ).rows()
    checks: dict[Any, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for who, *kind, outcome in rows:
        cell = checks[tuple("unknown" if part is None else part for part in kind)]
        cell[0 if who == "T05" else 2] += 1
        cell[1 if who == "T05" else 3] += outcome == "fail"
    made: dict[str, list[float]] = defaultdict(lambda: [0, 0, 0.0])
    for kind, (n, x, others, theirs) in checks.items():
        if n and others:
            step = made[kind[-1]]
            step[0] += n
            step[1] += x
            step[2] += n * (x + theirs) / (n + others)
    expected = {step: values for step, values in made.items() if values[0] >= 30}
    found = own.table.filter(own.table["step"].is_not_null())
    assert set(found["step"]) == set(expected)
    for step, cases, events, wanted in found.select("step", "cases", "events", "expected").iter_rows():
        assert [cases, events] == expected[step][:2]
        assert wanted == pytest.approx(expected[step][2], abs=1e-5)


def test_the_whole_is_that_of_the_comparison(depot: Depot, own: Any) -> None:
    for row in own.table.filter(own.table["step"].is_null()).iter_rows(named=True):
        fair = depot.compare("technician", outcome=row["measure"]).table.rows_by_key("technician", named=True)
        (same,) = fair["T05"]
        assert [row[k] for k in ("cases", "events", "ratio", "verdict")] == [
            same[k] for k in ("exposures", "observed", "ratio", "verdict")
        ]


def test_nobody_else_is_named_and_nothing_ranked(depot: Depot, own: Any) -> None:
    names = set(depot.query("select distinct technician from jobs where technician is not null")["technician"])
    text = page(own, "Depot") + repr(own) + repr(own.learning)
    assert {name for name in names if re.search(rf"\b{name}\b", text)} == {"T05"}
    assert "rank" not in re.sub("without a rank", "", text)
    assert text.index("What goes well") < text.index("Beside the same work") < text.index("What to practise")
    assert "works council" in text
    assert "licensed" in text


def test_too_little_work_and_unknown_names_are_refused(depot: Depot) -> None:
    with pytest.raises(RequestError, match="too little work to say anything fair"):
        depot.technician("T05", months="2025-01", min_cases=5000)
    with pytest.raises(RequestError, match="there is no technician 'T99' in the store") as error:
        depot.technician("T99")
    assert "T0" not in str(error.value).replace("T99", "")


def test_the_command_writes_a_page(tmp_path: Path) -> None:
    to = tmp_path / "own.html"
    done = CliRunner().invoke(main, ["sheet", str(SAMPLE), "--technician", "T05", "--to", str(to)])
    assert done.exit_code == 0, done.output
    assert "Own work: T05" in to.read_text(encoding="utf-8")
    refused = CliRunner().invoke(main, ["sheet", str(SAMPLE), "--technician", "T05", "--to", str(tmp_path / "own.txt")])
    assert refused.exit_code == 1
    assert "ends with .html or .pdf" in refused.output


@pytest.mark.skipif(browser() is None, reason="no browser")
def test_it_is_one_page_of_paper(tmp_path: Path) -> None:
    to = tmp_path / "own.pdf"
    done = CliRunner().invoke(main, ["sheet", str(SAMPLE), "--technician", "T05", "--to", str(to)])
    assert done.exit_code == 0, done.output
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", to.read_bytes())) == 1
