"""What a page says is for a manager: no code, no negative nothing, one thing as one; and of a month that there is."""

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

import rqa
from rqa.demo import write
from rqa.errors import RequestError
from rqa.review import describe
from rqa.review.facts import MonthFacts
from tests.depots import depot_of

CODE = re.compile(r"\b(depot|rqa)\.[a-z_]+|\b[a-z_]+\((\)|[a-z_]+=)|\b(by|where|months|chart|limits|window)=")
NEGATIVE_NOTHING = re.compile(r"(?<![\d–])[-−]0(\.0*)?(?![\d.]*[1-9])(?!\d)(?![-\d])")
ONE_OF_SEVERAL = re.compile(
    r"(?<![\d,.–-])1 (jobs|files|days|rows|units|months|weeks|come-backs|steps|runs|times|checks|cases|kinds)\b"
)
NO_RANGE = re.compile(r"^– to –$")
NO_COMMA = re.compile(r"(?<![\d,])\d{4,} per 10,000")
SOUND = {
    "a range of nothing": NO_RANGE,
    "thousands as one": NO_COMMA,
    "a call in Python": CODE,
    "a negative nothing": NEGATIVE_NOTHING,
    "one as several": ONE_OF_SEVERAL,
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small invented depot."""
    made = tmp_path_factory.mktemp("said") / "ws"
    write(made, jobs=300, plain=True)
    rqa.load(made)
    return made


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


def unsound(facts: MonthFacts) -> list[str]:
    """What a manager should not read, each with the text around it."""
    found = []
    for text in map(unescape, map(str, texts(facts))):
        for what, pattern in SOUND.items():
            found += [f"{what}: {text[max(0, m.start() - 60) : m.end() + 20]}" for m in pattern.finditer(text)]
    return found


@pytest.mark.parametrize("as_of", [None, "2026-05-14", "2025-03-02", "2025-01-20"])
def test_a_page_speaks_to_a_manager(folder: Path, as_of: str | None) -> None:
    with rqa.open(folder, as_of=as_of) as depot:
        facts = describe(depot)
    assert unsound(facts) == []


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
    with rqa.open(folder, as_of="2026-05-14") as depot:
        facts = describe(depot, "2026-05")
        own = depot.charts.month_against_before("first_pass_yield", month="2026-05")
    assert own is not None
    assert re.search(r"May 2026 is not over: first-pass yield \d+\.\d.% so far, .*\(not judged\)", facts.headline)
    assert all(v.month != "May 2026" for v in facts.verdicts)
    assert "is not over" not in described(folder, "2026-04").headline


def described(folder: Path, month: str) -> MonthFacts:
    with rqa.open(folder, as_of="2026-05-14") as depot:
        return describe(depot, month)


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
