"""What the page says it did not find can be false, and is said of no depot in which it is, whatever is taken away."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

import pytest

from rqa.answers.core.grounds import Sentence
from rqa.depot import Depot
from rqa.review import describe, render
from rqa.review.facts import MonthFacts
from rqa.review.said_once import said_once
from rqa.review.sheet import MOST_WORDS, words_of
from rqa.words import month_name
from tests.depots import depot_of
from tests.review.claims import false_claims, is_all_clear, sentences_in
from tests.review.conftest import BadMonth
from tests.review.good_or_bad import DAY, LESS, MONTH, Tables, made

ALL_CLEARS = (
    r"no clear change of",
    r"^Nothing to act on: (of [\d,]+ comparisons none is|the one comparison is not) statistically clear",
    r"^No come-back of these months is attributed to a step",
    r"^None of [\d,]+ runs of diagnostics failed",
    r"^Each fault found in \d+ come-backs is covered by some test",
    r"^No station is seen to drift",
    r"^Of \d+ comparisons none is told apart",
    r"no job is logged with the battery isolated late or reconnected early",
)
"""Every statement of the page that nothing was found, for a depot with its tables loaded."""
IN_THE_GATE = ("no steps",)
"""What every run of the tests takes away."""
SLOW = ("no unit twice", "no procedures", "no jobs.found")
"""What CI takes away too; the rest is marked long."""
SAID_INSTEAD = {
    "no procedures": r"whether a battery was isolated late .* as the table “procedures” is not loaded",
    "no unit twice": r"come-backs within 30 days, as no unit appears in more than one job",
    "no steps": r"first-pass yield, as the table “steps” is not loaded",
    "no diagnostics": r"whether the tests can be believed, as the table “diagnostics” is not loaded",
    "no tests": r"which faults no test covers, as the table “tests” is not loaded",
    "no targets": r"whether goals are met, as the table “targets” is not loaded",
    "no actions": r"whether an action worked, as no action is on record",
    "no diagnostics.station": r"whether a station drifts .* as “station” of the table “diagnostics” is never given",
}


@pytest.fixture(scope="module")
def good() -> Iterator[Depot]:
    # Of fewer jobs no page could say whether a rate changed.
    quiet = made(bad=False, jobs=900)
    quiet["jobs"] = [j | {"found": "case"} if j["job_id"][0] == "R" else j for j in quiet["jobs"]]
    quiet["tests"].append({"test": "final", "subsystem": "case"})
    with depot_of(quiet, DAY) as opened:
        yield opened


@pytest.fixture(scope="module")
def facts(good: Depot) -> MonthFacts:
    return describe(good, MONTH)


def all_clears(facts: MonthFacts) -> list[Sentence]:
    return [said for said in sentences_in(facts) if is_all_clear(said)]


def test_of_a_depot_without_faults_each_all_clear_is_said_and_stands(good: Depot, facts: MonthFacts) -> None:
    said = all_clears(facts)
    assert [kind for kind in ALL_CLEARS if not any(re.search(kind, s, re.IGNORECASE) for s in said)] == []
    assert list(false_claims(good, facts)) == []
    assert all(s.rests_on for s in said)


def test_of_a_depot_in_which_all_is_amiss_none_is_said(bad_month: BadMonth) -> None:
    facts = bad_month.facts
    assert all_clears(facts) == []
    # Of the come-backs within 90 days one month alone is final since the change.
    assert [v.word for v in facts.verdicts] == ["worse", "cannot be told", "worse", "worse"]
    assert facts.pointers
    assert any("isolated late" in w for s in facts.sections for w in s.words)


@pytest.mark.parametrize("less", [
    n if n in IN_THE_GATE else pytest.param(n, marks=pytest.mark.slow if n in SLOW else pytest.mark.long) for n in LESS
])
def test_taking_data_away_makes_no_all_clear(less: str) -> None:
    """In the bad depot all is amiss: an all-clear is false, however worded and whatever it says it rests on."""
    with depot_of(LESS[less](made(bad=True)), DAY) as depot:
        facts = describe(depot, MONTH)
        assert all_clears(facts) == []
        assert list(false_claims(depot, facts)) == []
        assert words_of(facts.sheet) <= MOST_WORDS
        told = " ".join(sentences_in(facts))
    assert re.search(SAID_INSTEAD.get(less, ""), told), told


def test_every_section_with_figures_says_its_months_and_its_window(facts: MonthFacts) -> None:
    drawn = [s for s in facts.sections if s.figures]
    assert {s.key for s in drawn} >= {"actions", "cost"}
    for section in drawn:
        assert section.basis is not None, section.key
        assert section.basis.window, section.key
        assert f"within {section.basis.window} days" in section.basis.caption
        for figure in section.figures:
            assert figure.window == section.basis.window, figure.key
            assert figure.months == section.basis.months, figure.key
    for figure in facts.figures:
        assert figure.basis is not None
        assert (figure.basis.months, figure.basis.window or figure.window) == (figure.months, figure.window)
    text = render(facts)
    captions = [held.basis.caption for held in (*facts.sections, *facts.figures) if held.basis]
    assert [c for c in captions if c not in text] == []


def test_a_finding_says_its_months_and_within_how_many_days(bad_month: BadMonth) -> None:
    """24 of 184 in one place and 11 of 588 in another are no contradiction once both say what they count."""
    first = date(2024, 9, 1)
    assert bad_month.stated
    for f in bad_month.stated:
        if f.months:
            within = re.search(r"within (\d+) days", f.what)
            # Come-backs are of jobs that have matured by the day: closed so many days before it.
            last = (DAY - timedelta(days=int(within[1]) if within else 0)).replace(day=1)
            assert first <= f.months[0] <= f.months[1] == min(last, MONTH), "none before the first job or not matured"
            whole = f"(September 2024 to {month_name(f.months[1])})"
            assert (whole if f.months[0] == first else f"(since {month_name(f.months[0])})") in f.what
        if f.avoided is not None or "come-back" in f.kind:
            assert re.search(r"within \d+ days", f.what), f.kind


def unnamed(tables: Tables) -> Tables:
    """Most come-backs on one kind of work, and nobody wrote down what was found."""
    jobs = [{k: v for k, v in job.items() if k != "found"} for job in tables["jobs"]]
    return {"jobs": [j for j in jobs if j["job_id"][0] == "J" or j["model"] == "Marl-10"]}


@pytest.mark.parametrize("known", [False, True], ids=["found not mapped", "found"])
def test_without_confirmed_faults_come_backs_of_any_class_are_compared(known: bool, bad_month: BadMonth) -> None:
    tables = made(bad=True)
    with depot_of(tables if known else unnamed(tables), DAY) as depot:
        if known:
            any_class, stated, findings, notes = (
                bad_month.any_class, bad_month.stated, bad_month.findings, bad_month.notes
            )
        else:
            found = depot.findings(MONTH)
            assert found.counted
            any_class, stated, findings, notes = found.counted.any_class, found.stated, found.findings, found.notes
        back = int(depot.comebacks(window=30, months=("2023-06", "2025-05")).table["returned"][0])
    said = stated if known else findings
    kinds = {f.kind for f in said if f.kind.startswith("come-backs by kind of work")}
    assert kinds == {"come-backs by kind of work" if known else "come-backs by kind of work, of any class"}
    assert any_class is not known
    notes = [n for n in notes if "no confirmed fault" in n and n.startswith(f"{back} of {back} come-backs")]
    assert len(notes) == (0 if known else 1)


def test_what_to_do_is_said_once(facts: MonthFacts) -> None:
    first = Sentence("Cannot be told: a, as b. Map c.", ("steps",), ("steps",), remedy=("Map c.",))
    later = Sentence("Cannot be told: d, as b. Map c.", ("steps",), ("steps",), remedy=("Map c.",))
    held = said_once(replace(facts, looked=(first, later, first)))
    assert held.looked == ("Cannot be told: a, as b. Map c.", "Cannot be told: d, as b.", "Cannot be told: a, as b.")
    assert [s.lacks for s in sentences_in(held.looked)] == [("steps",)] * 3


@pytest.mark.slow
def test_no_unit_twice_is_said_first_and_once() -> None:
    tables = LESS["no actions"](LESS["no unit twice"](made(bad=True)))
    with depot_of(tables, DAY) as depot:
        facts = describe(depot, MONTH)
        text = render(facts)
    assert facts.summary.startswith("Cannot be told: come-backs, as no unit appears in more than one job")
    assert text.count("Compare a serial number that you know to have returned") == 1
    assert {v.measure: v.share for v in facts.verdicts if "come-backs" in v.measure} == {
        "come-backs within 30 days": "no data", "come-backs within 90 days": "no data"
    }
    assert "0 % (0 of" not in text


IDLE = date(2025, 3, 1)


def test_of_a_month_without_work_the_page_says_so_and_looks_for_nothing() -> None:
    """Its figures are those of the month before, which is said; nothing is waited for, projected or not found in it."""
    tables = made(bad=True)
    jobs = [j for j in tables["jobs"] if f"{j['closed_at']:%Y-%m}" != f"{IDLE:%Y-%m}"]
    there = {j["job_id"] for j in jobs}
    logs = {name: [r for r in tables[name] if r["job_id"] in there] for name in ("steps", "diagnostics")}
    with depot_of({**tables, "jobs": jobs, **logs}, DAY) as depot:
        facts = describe(depot, IDLE)
        found = depot.findings(IDLE)
    assert "No job was closed in March 2025" in facts.headline
    assert facts.summary.startswith("No job was closed in March 2025.")
    assert {v.month for v in facts.verdicts} == {"February 2025"}
    for measure in (v.measure for v in facts.verdicts):
        assert measure in str(facts.summary).partition("March 2025 itself has no final figure of ")[2]
    assert "are not final yet" not in facts.summary
    assert facts.projected == ()
    (safety,) = (s for s in facts.sections if s.key == "safety")
    assert safety.words == ("No job was closed in March 2025.",)
    for finding in (*found.stated, *found.gone):
        assert "March 2025 no data" not in finding.what
    assert any("come-backs within 30 days in February 2025" in f.what for f in found.stated), "as the headline has it"
