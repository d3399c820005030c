"""What a page says is for a manager: no code, no negative nothing, one thing as one; and of a month that there is."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache
from html import unescape
from pathlib import Path

import polars as pl
import pytest

import rqa
from rqa.answers.core.grounds import CANNOT
from rqa.contract import TABLES
from rqa.errors import RequestError
from rqa.review import describe
from rqa.review.facts import MonthFacts
from rqa.review.figures import is_framed
from rqa.review.improve.findings import _more, _size
from rqa.review.tests.diagnostics import _table
from rqa.words import MONTHS, month_name
from tests.depots import depot_of
from tests.made_once import Shelf

CODE = re.compile(r"\b(depot|rqa)\.[a-z_]+|\b[a-z_]+\((\)|[a-z_]+=)|\b(by|where|months|chart|limits|window)=")
NEGATIVE_NOTHING = re.compile(r"(?<![\d–])[-−]0(\.0*)?(?![\d.]*[1-9])(?!\d)(?![-\d])")
ONE_OF_SEVERAL = re.compile(
    r"(?<![\d,.–-])1 (jobs|files|days|rows|units|months|weeks|come-backs|steps|runs|times|checks|cases|kinds)\b"
)
NO_RANGE = re.compile(r"^– to –$")
NO_COMMA = re.compile(r"(?<![\d,])\d{4,} per 10,000")
MORE_DECIMALS = re.compile(r"(?<![\d.])(?!0\.0\d|99\.9\d)\d+\.\d\d[ \u00a0]%")
THOUSANDS = re.compile(r"(?<![\d,.\w/-])(?!(?:19|20)\d\d(?!\d))\d{4,}(?![\w-])")
AGAIN = re.compile(r"look at [^;.]*; look at ")
SOUND = {
    "a time in UTC, of which none is shown": re.compile(r"\bUTC\b"),
    "nothing as something": re.compile(r"(?<![\d,.])0 jobs? on 0 "),
    "a share with more decimals": MORE_DECIMALS,
    "thousands without a comma": THOUSANDS,
    "the same verb again": AGAIN,
    "a range of nothing": NO_RANGE,
    "thousands as one": NO_COMMA,
    "a call in Python": CODE,
    "a negative nothing": NEGATIVE_NOTHING,
    "one as several": ONE_OF_SEVERAL,
}


@pytest.fixture(scope="module")
def folder(shelf: Shelf) -> Path:
    """A small invented depot."""
    return shelf.demo(300)


@cache
def opened(folder: Path, as_of: str | None) -> rqa.Depot:
    return rqa.open(folder, as_of=as_of)


PAGES: dict[tuple[str | None, str], MonthFacts] = {}


def described(folder: Path, as_of: str | None, month: str = "") -> MonthFacts:
    """The page of a month, or the one given unasked, described once."""
    name = month_name(date.fromisoformat(f"{month}-01")) if month else ""
    if (as_of, name) not in PAGES:
        facts = describe(opened(folder, as_of), month or None)
        PAGES[as_of, name] = PAGES[as_of, facts.month_name] = facts
    return PAGES[as_of, name]


def job(n: int, opened: str, closed: str | None) -> dict[str, object]:
    from datetime import datetime

    at = datetime.fromisoformat
    return {
        "job_id": f"J{n}", "unit_id": f"U{n}", "opened_at": at(opened), "closed_at": at(closed) if closed else None,
        "disposition": "repaired" if closed else "open",
    }


def young() -> dict[str, list[dict[str, object]]]:
    """A depot whose data began within the month that is not over."""
    return {"jobs": [job(1, "2026-06-10T08:00", "2026-06-11T08:00"), job(2, "2026-06-12T08:00", None)]}


def texts(facts: MonthFacts) -> Iterator[str]:
    """Every sentence, caption, note and text alternative that a page shows of its facts; not the names in its data."""
    yield from (facts.headline, facts.summary, facts.quiet, facts.looked, facts.intake_words, *facts.notes)
    yield from (v.sentence for v in facts.verdicts)
    yield from (p.sentence for p in facts.projected)
    for p in facts.pointers:
        yield from (p.what, p.size, p.caution, p.check)
    for s in facts.sections:
        yield from (*s.words, *s.points, *s.notes, *(t.caption for t in s.tables))
        yield from (cell for t in s.tables for row in t.rows for cell in row)
    for f in facts.drawn:
        yield from (f.reading, f.alternative, *f.notes)
        yield from (cell for row in f.table.rows for cell in row if f.key == "step-map")


def column_names(facts: MonthFacts) -> Iterator[str]:
    """Names of columns in sentences; the mapping's own keys are told where something is to be mapped."""
    said = [text for s in facts.sections for text in (*s.words, *s.points, *s.notes)]
    said += [text for f in facts.drawn for text in (f.reading, f.alternative, *f.notes)]
    for text in said:
        yield from (name for name in re.findall(r"\b[a-z]+_[a-z_]+\b", text) if name not in {*FIELDS, "labour_rate"})


FIELDS = {column.name for table in TABLES.values() for column in table.columns}


def beside_the_figures(facts: MonthFacts) -> Iterator[str]:
    """What is said of a picture or a section that is not so."""
    for f in facts.drawn:
        if ("dashed frame" in f.reading) != is_framed(f.spec):
            yield f"a dashed frame: {f.key}: {f.reading}"
        if ("Each row is" in f.reading or f.caption) and not f.table.rows:
            yield f"how to read nothing: {f.key}"
        early = re.search(r"(?:Not yet matured|Month not over): ([^.]*)\.", f.alternative)
        months = [(name.split()[1], MONTHS.index(name.split()[0])) for name in early[1].split(", ")] if early else []
        if months != sorted(months):
            yield f"months out of their order: {f.alternative}"
    for s in facts.sections:
        if s.caption and not (s.tables or s.figures) and all(w.startswith(CANNOT) for w in (*s.words, *s.points)):
            yield f"what is counted where nothing is: {s.heading}"


def unsound(facts: MonthFacts) -> list[str]:
    """What a manager should not read, each with the text around it."""
    found = [f"the name of a column: {name}" for name in column_names(facts)]
    found += beside_the_figures(facts)
    for text in map(unescape, map(str, texts(facts))):
        for what, pattern in SOUND.items():
            found += [f"{what}: {text[max(0, m.start() - 60) : m.end() + 20]}" for m in pattern.finditer(text)]
    return found


@pytest.mark.parametrize("as_of", [
    None, *(pytest.param(day, marks=pytest.mark.slow) for day in ("2025-01-20", "2026-05-14", "2025-03-02")),
])
def test_a_page_speaks_to_a_manager(folder: Path, as_of: str | None) -> None:
    assert unsound(described(folder, as_of)) == []


def test_what_a_table_leaves_out_makes_up_its_sum(folder: Path) -> None:
    with rqa.open(folder) as depot:
        span = (date(2025, 1, 1), date(2026, 6, 1))
        retests = depot.tests.retests(months=span)
    few = pl.int_range(pl.len()) < 2
    small = {"runs": 12, "fails": 3, "retest_passes": 2}
    retests = replace(retests, table=retests.table.with_columns(
        pl.when(few).then(pl.lit(n, pl.Int64)).otherwise(pl.col(name)).alias(name) for name, n in small.items()
    ))
    table = _table(retests)
    left = re.search(r"more tests? with ([\d,]+) runs?, ([\d,]+) of them failed, of which ([\d,]+)", table.caption)
    rest = [int(n.replace(",", "")) for n in left.groups()] if left else [0, 0, 0]
    shown = [sum(int(row[i].replace(",", "")) for row in table.rows) for i in (1, 2, 3)]
    assert len(table.rows) < retests.table.height, "some are not shown"
    assert [a + b for a, b in zip(shown, rest, strict=True)] == [
        retests.table[name].sum() for name in ("runs", "fails", "retest_passes")
    ]


def test_a_figure_of_a_finding_has_the_same_digits_wherever_it_stands(folder: Path) -> None:
    """What stands in its sentence and again in its size is written alike."""
    number = re.compile(r"[−-]?\d[\d,]*(?:\.\d+)?")
    with rqa.open(folder) as depot:
        stated = [f for f in (*depot.tests.drift().stated, *depot.tests.agreement().stated) if f.size == f.size]
    compared = 0
    for f in stated:
        size = number.findall(_size(f).partition(f.measure)[2].replace("95 %", ""))
        for said in number.findall(f.what):
            value = float(said.replace(",", "").replace("−", "-"))
            twice = [s for s in size if value and abs(float(s.replace(",", "").replace("−", "-")) / value - 1) < 0.004]
            assert not twice or said in twice, (f.what, _size(f))
            compared += bool(twice)
    assert compared, "some figure stands in both"


def test_findings_that_are_not_listed_are_counted_where_they_stand() -> None:
    assert _more(["a", "b", "c"], {"The tests": {"a", "x", "c"}}) == (
        "Of 3 more findings 2 stand under “The tests” and 1 is in the notebooks."
    )
    assert _more(["a"], {"The tests": {"x"}}) == "Of 1 more finding 1 is in the notebooks."


def test_a_page_of_a_young_depot_speaks_to_a_manager_too() -> None:
    with depot_of(young()) as depot:
        facts = describe(depot)
    assert facts.month_name == "June 2026", "not May, of which there is nothing"
    assert unsound(facts) == []


@pytest.mark.parametrize("month", ["2024-12", "2026-07", "2099-01"])
def test_a_month_of_which_there_is_nothing_is_refused_with_those_there_are(folder: Path, month: str) -> None:
    with rqa.open(folder) as depot, pytest.raises(RequestError) as caught:
        describe(depot, month)
    assert "its data is of January 2025 to June 2026" in str(caught.value)


def test_a_month_that_is_not_over_is_told_so_far_and_not_judged(folder: Path) -> None:
    facts = described(folder, "2026-05-14", "2026-05")
    with rqa.open(folder, as_of="2026-05-14") as depot:
        own = depot.charts.month_against_before("first_pass_yield", month="2026-05")
    assert own is not None
    assert re.search(r"May 2026 is not over: first-pass yield \d+\.\d.% so far, .*\(not judged\)", facts.headline)
    assert all(v.month != "May 2026" for v in facts.verdicts)
    assert "is not over" not in described(folder, None).headline


@pytest.mark.slow
def test_the_month_before_one_that_is_not_over_is_told_as_over(folder: Path) -> None:
    assert "is not over" not in described(folder, "2026-05-14", "2026-04").headline


def test_breaches_are_told_by_the_sites_own_clock(folder: Path) -> None:
    """The demo's sites keep the zones of their towns; in summer none of them is on UTC."""
    from zoneinfo import ZoneInfo

    with rqa.open(folder) as depot:
        table = depot.steps.battery_breaches().table.drop_nulls("acted_at")
        zones = dict(depot.query("select site, zone from clocks").rows())
    assert table.height
    for row in table.iter_rows(named=True):
        zone = zones[row["site"]]
        local = row["acted_at"].replace(tzinfo=ZoneInfo("UTC")).astimezone(ZoneInfo(zone))
        assert f"at {local:%H:%M} {zone}" in row["what"]
