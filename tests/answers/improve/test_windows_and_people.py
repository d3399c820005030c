"""What began of late is told with its months; a page's first signs; people at single steps."""

import tomllib
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import rqa
from rqa.answers.core.finding import IN_A_YEAR, PAGES, Finding, judged, judged_for_page
from rqa.answers.core.windows import level_of_each, nested, pieces, surest, windows_note
from rqa.answers.improve.finding_words import first_signs
from rqa.answers.improve.people_steps import EXPECTED, KIND, people_at_steps
from rqa.errors import MappingError
from rqa.intake.draft import parse_mapping
from rqa.loading import load
from rqa.stats import surest_window
from tests.bench.made_workshops import Workshop, made, workshop

SOURCES = """
[workspace]
{least}
[files.jobs]
path = "jobs.csv"
[[table]]
table = "jobs"
from = "jobs"
"""
CSV = """job_id,unit_id,model,site,procedure,opened_at,closed_at,disposition
A1,A,M,S,P,2026-01-02T08:00Z,2026-01-05T08:00Z,repaired
A2,A,M,S,P,2026-01-20T08:00Z,2026-01-22T08:00Z,repaired
B1,B,M,S,P,2026-01-02T08:00Z,2026-03-05T08:00Z,repaired
"""
SPAN = (date(2024, 1, 1), date(2025, 12, 1))


def stated(p_value: float, *, worse: bool = True, jobs: int = 100, bench: str = "B1") -> Finding:
    return Finding("come-backs by bench", {"bench": bench}, "x", "observed / expected", 2.0, 1.0, 4.0, worse, jobs,
                   p_value, "mind", "look", mirrored=True)


def test_windows_end_with_the_span_and_each_month_is_counted_once() -> None:
    windows = nested(SPAN)
    assert [first for first, _ in windows] == [date(2025, 10, 1), date(2025, 7, 1), date(2025, 1, 1), SPAN[0]]
    assert {last for _, last in windows} == {SPAN[1]}
    assert pieces(windows) == (
        (date(2025, 10, 1), date(2025, 12, 1)), (date(2025, 7, 1), date(2025, 9, 1)),
        (date(2025, 1, 1), date(2025, 6, 1)), (date(2024, 1, 1), date(2024, 12, 1)),
    )
    short = (date(2025, 8, 1), SPAN[1])
    assert nested(short) == ((date(2025, 10, 1), SPAN[1]), short)
    assert nested((date(2025, 10, 1), SPAN[1])) == ((date(2025, 10, 1), SPAN[1]),)
    assert level_of_each(windows) == pytest.approx(0.9875)
    assert windows_note(nested((SPAN[1], SPAN[1]))) == ()
    assert "3, 6 and 12 months and over all" in windows_note(windows)[0]


def test_the_surest_window_is_told_and_pays_for_the_choice() -> None:
    windows = nested(SPAN)
    each = [[stated(0.2, jobs=30)], [stated(0.0004, jobs=60)], [stated(0.03, jobs=120)], [stated(0.6, jobs=240)]]
    (told,) = surest(windows, each)
    worth = surest_window(smallest=[0.0002], information=[[30, 60, 120, 240]]).p_value[0]
    assert told.months == windows[1]
    assert told.p_value == pytest.approx(2.0 * worth)
    assert 0.0004 < told.p_value < 4 * 0.0004


def test_a_better_window_is_not_chosen_and_a_place_never_worse_is_of_the_longest() -> None:
    windows = nested(SPAN)
    better = [[stated(1e-9, worse=False)], [], [stated(0.1)], [stated(0.4)]]
    (told,) = surest(windows, better)
    assert told.months == windows[2]
    (told,) = surest(windows, [[stated(0.01, worse=False)], [], [], [stated(0.3, worse=False)]])
    assert (told.months, told.p_value) == (SPAN, 0.3)
    assert judged([told]) == ()


def test_one_window_is_stated_as_it_is() -> None:
    (told,) = surest(((SPAN[0], SPAN[1]),), [[stated(0.01)]])
    assert told.p_value == 0.01


def test_a_page_needs_more_than_one_page_s_evidence() -> None:
    """0.1 / 12 is what a year of twelve pages leaves for each; one place sure enough opens the page for the others."""
    between, sure = stated(2 * 0.02), stated(2 * 0.005, bench="B2")
    assert pytest.approx(0.1 / 12) == IN_A_YEAR / PAGES
    assert len(judged([between])) == 1
    assert judged_for_page([between]) == ()
    assert len(judged_for_page([sure])) == 1
    assert {f.where for f, _ in judged_for_page([between, replace(sure, p_value=1e-6)])} == {"bench B1", "bench B2"}


def test_how_large_a_finding_must_be_is_what_the_mapping_says_unless_asked_otherwise(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(CSV, encoding="utf-8")
    for least in ("", "least = { ratio = 1.5 }"):
        (tmp_path / "sources.toml").write_text(SOURCES.format(least=least), encoding="utf-8")
        load(tmp_path)
        with rqa.open(tmp_path) as opened:
            found, asked = opened.findings(), opened.findings(least={"sd": 1.0})
        ratio = 1.5 if least else 1.1
        assert found.settings["least"] == {"ratio": ratio, "sd": 0.25}
        assert asked.settings["least"] == {"ratio": ratio, "sd": 1.0}
        assert any(f"at least {(ratio - 1) * 100:.0f} % more" in note for note in found.notes)


@pytest.mark.parametrize("least", ["{ ratio = 0.9 }", "{ sd = -1 }", "{ share = 1 }", "2"])
def test_a_size_that_is_none_is_refused(least: str) -> None:
    with pytest.raises(MappingError, match=r"workspace\.least"):
        parse_mapping(tomllib.loads(SOURCES.format(least=f"least = {least}")))


def test_first_signs_name_no_person() -> None:
    of_person = replace(stated(0.02), scope={"technician": "T05"})
    (said,) = first_signs((stated(0.02), of_person), {"technician"})
    assert "bench B1: x (F-" in said
    assert "1 more about the work of single persons" in said
    assert "T05" not in said
    assert first_signs((), {"technician"}) == ()


def at_steps(rng: np.random.Generator, *, factor: float = 1.0, everywhere: float = 1.0) -> dict[tuple[Any, ...], Any]:
    """Checks of six steps on two models by eight people; P0 fails `factor` times as often at the first of them."""
    totals = {}
    for person in range(8):
        for step in range(6):
            for model, share in (("A", 0.04), ("B", 0.12)):
                n = int(rng.integers(60, 140))
                worse = (everywhere if person == 0 else 1.0) * (factor if (person, step) == (0, 0) else 1.0)
                totals[f"P{person}", "board", f"s{step}", model] = (n - int(rng.binomial(n, share * worse)), n)
    return totals


def found(totals: dict[tuple[Any, ...], Any]) -> Iterator[str]:
    return (f"{f.scope['technician']} {f.scope['step']}" for f, _ in judged(people_at_steps(totals, 0.95)))


def test_a_person_s_step_is_named_and_not_the_person_s_level() -> None:
    rng = np.random.default_rng(3)
    assert list(found(at_steps(rng, factor=3.0))) == ["P0 s0"]
    assert list(found(at_steps(rng, everywhere=2.5))) == []


def test_expected_failures_are_those_of_a_loop() -> None:
    totals = at_steps(np.random.default_rng(4), factor=2.0)
    totals["unknown", "board", "s0", "A"] = (50, 60)
    totals["P1", "alone", "s9", "A"] = (10, 90)
    share: dict[Any, float] = {}
    for key in totals:
        alike = [totals[k] for k in totals if k[1:] == key[1:]]
        share[key[1:]] = sum(n - ok for ok, n in alike) / sum(n for _, n in alike)
    told = {(f.scope["technician"], f.scope["step"]): f for f in people_at_steps(totals, 0.95)}
    assert len(told) == 48
    for (person, step), f in told.items():
        own = {k: v for k, v in totals.items() if k[0] == person and k[1] == "board"}
        level = sum(n - ok for ok, n in own.values()) / sum(share[k[1:]] * n for k, (_, n) in own.items())
        here = {k: v for k, v in own.items() if k[2] == step}
        due = level * sum(share[k[1:]] * n for k, (_, n) in here.items())
        failed = sum(n - ok for ok, n in here.values())
        assert (f.events, f.jobs) == (failed, sum(n for _, n in here.values()))
        assert f.size == pytest.approx(failed / due)
        assert f.worse == (failed > due)
        assert f.kind == KIND


def test_too_little_work_says_nothing() -> None:
    few = {(p, "board", "s", "A"): (29, 30) for p in ("P0", "P1", "P2")}
    assert EXPECTED > 30 * (3 / 90)
    assert list(people_at_steps(few, 0.95)) == []
    assert list(people_at_steps({}, 0.95)) == []


@pytest.mark.slow
def test_few_pairs_of_person_and_step_are_called_where_none_differs() -> None:
    """Of 200 made tables that hold nothing but chance one in twenty at most has one; 22 of 200 is the 0.1 % point."""
    rng = np.random.default_rng(5)
    assert sum(bool(list(found(at_steps(rng)))) for _ in range(200)) <= 22


@pytest.mark.slow
def test_what_began_six_months_ago_is_named_with_its_months() -> None:
    """A bench from which four times as many units come back of late, by the questions that a depot is asked."""
    w = Workshop(jobs=300, benches=6, bad_from=6, bench_returns=4.0)
    with workshop(made(np.random.default_rng(11), w)) as depot:
        named = [f for f in depot.findings().findings if f.scope.get("bench") == "B01"]
        rows = depot.findings().jobs(id=named[0].id).table.height
    assert named
    assert "(since " in named[0].what
    assert named[0].months is not None
    assert named[0].months[0] >= date(2025, 1, 1)
    assert rows >= named[0].jobs
