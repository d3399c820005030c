"""Every section of the page with names as nobody should have them, and with too little to show."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from rqa.answers.core.finding import Finding
from rqa.answers.core.ground_list import GROUNDS
from rqa.answers.core.grounds import Grounds, Sentence
from rqa.answers.improve.findings import COMPARED, MonthFindings
from rqa.answers.improve.overall_findings import AGAINST
from rqa.depot import Depot
from rqa.review import describe, render
from rqa.review.attributed import SPLIT
from rqa.review.compare import people as people_section
from rqa.review.compare.people import FEWEST, people
from rqa.review.facts import MonthFacts, Verdict
from rqa.review.improve.actions import actions
from rqa.review.improve.findings import places_to_look
from rqa.review.ledger import changes
from rqa.review.steps.risky_steps import risky_steps
from rqa.review.steps.safety import safety
from rqa.review.tests.diagnostics import diagnostics
from tests.cases import some_slow
from tests.depots import depot_of
from tests.review.made_depot import HOSTILE, made_tables
from tests.review.test_page import Parts

ALL = Grounds(frozenset(GROUNDS), 30)
SPAN = (date(2024, 1, 1), date(2025, 6, 1))
PEOPLE = frozenset({"technician"})
PERSONS = [f"Person{n}" for n in range(7)]


def hostile(name: str) -> str:
    return f"{name} {HOSTILE}"


def tables() -> dict[str, Any]:
    """The made-up depot with the references that sections ask for, hostile names and single persons everywhere."""
    made = made_tables(jobs=420, odd_model=HOSTILE)
    jobs = {j["job_id"]: j for j in made["jobs"]}
    for n, job in enumerate(made["jobs"]):
        job["site"], job["technician"] = hostile(job["site"]), PERSONS[n % len(PERSONS)]
    for step in made["steps"]:
        step["step"], step["bench"] = hostile(step["step"]), hostile(step["bench"])
        step["tool"], step["technician"] = hostile("tool"), jobs[step["job_id"]]["technician"]
        step["started_at"] = step["ended_at"] - timedelta(minutes=9 - step["step_seq"])
    for n, run in enumerate(made["diagnostics"]):
        run["test"], run["station"] = hostile(run["test"]), hostile("S")
        run["outcome"] = "fail" if n % 25 == 0 else "pass"
    made["diagnostics"] += [
        {**r, "run": 2, "outcome": "pass"} for r in list(made["diagnostics"]) if r["outcome"] == "fail"
    ]
    works = sorted({j["procedure"] for j in made["jobs"]})
    made["tests"] = [{"test": hostile("final"), "subsystem": w} for w in works[:-1]]
    made["procedures"] = [
        {"procedure": w, "step_seq": n, "step": hostile(step), "phase": phase, "subsystems": [w] if n in (2, 3) else [],
         "hazards": ["latch"]}
        for w in works
        for n, (step, phase) in enumerate(
            (("open_case", "open"), (f"fit_{w}", "fit"), ("reseat_cable", "reseat"), ("close_case", "close")), 1)
    ]
    made["parts"] = [
        {"job_id": j["job_id"], "line": 1, "part_no": hostile("P"), "lot": hostile(f"L{n % 3}"), "quantity": 1,
         "unit_cost": 3.0}
        for n, j in enumerate(made["jobs"])
    ]
    began = date(2024, 9, 2)
    made["actions"] = [
        {"action_id": f"A{n}", "what": hostile(what), "started_on": began + timedelta(days=later), "scope": scope,
         "owner": hostile("owner"), "expected_change": "by half", "finding_id": None, "closed_on": None}
        for n, (what, scope, later) in enumerate((
            ("guide", "model=Marl-8", 0),
            ("glue", "procedure=display", 30), ("watched", "technician=Person1", 60), ("planned", "model=Quern", 900)))
    ]
    return made


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(tables(), date(2025, 7, 20)) as opened:
        yield opened


@pytest.fixture(scope="module")
def found(depot: Depot) -> MonthFindings:
    return depot.findings("2025-06")


@pytest.fixture(scope="module")
def facts(depot: Depot) -> MonthFacts:
    return describe(depot, "2025-06")


def test_hostile_names_are_text_in_every_section(facts: MonthFacts) -> None:
    page = render(facts)
    parts = Parts(page)
    assert len(parts.of("script")) == 3
    assert all(a["class"].split()[0] == "still" for a in parts.of("img"))
    assert not [a for _, a in parts.elements if "onerror" in a]
    assert len(facts.drawn) <= 12
    assert len(page.encode()) < 2 * 1024 * 1024
    shown = {s.key for s in facts.sections if "<script>alert(1)" in repr(s)}
    assert shown >= {"goals", "wrong", "believed", "actions", "cost"}
    assert "49" not in "".join(f.alternative for f in facts.drawn if "7*7" in f.alternative)


def test_the_next_page_is_compared_with_all_that_is_told(facts: MonthFacts) -> None:
    kept = dict(facts.record.figures)
    assert kept["findings"] == ("June 2025", ", ".join(p.id for p in facts.pointers))
    (goals,) = [s for s in facts.sections if s.key == "goals"]
    for name, goal, when, met, *_ in goals.tables[0].rows:
        assert kept[f"goal of {name}"] == (when, f"{met} ({goal})")
    assert kept["cost of come-backs"][1].endswith("with known cost)")
    assert {"A0", "A1"} <= set(kept)
    assert not {"A2", "A3"} & set(kept), "one is about a person, one has not begun"
    one = facts.record
    now = replace(one, as_of="2025-08-01", figures={**kept, "A0": ("June 2025", "worked"), "A9": ("June 2025", "new")})
    told = changes(now, [one])
    assert told[1:3] == (f"A0 of June 2025: worked; it was {kept['A0'][1]}.", "A9: new; not on the page before.")
    assert told[3].startswith("Unchanged: come-backs within 30 days, ")


def test_no_person_is_named_anywhere(facts: MonthFacts) -> None:
    said = json.dumps([f.spec for f in facts.drawn], default=str) + repr(facts)
    assert [p for p in PERSONS if p in said] == []


def test_a_count_of_a_few_people_is_not_shown(depot: Depot, found: MonthFindings) -> None:
    many = people(depot, SPAN, found)
    assert sum(r[0].startswith("people") for r in many.tables[0].rows) == 2
    few = made_small()
    for row in (*few["jobs"], *few["steps"]):
        row["technician"] = f"P{ord(row['job_id'][-1]) % (FEWEST - 1)}"
    with depot_of(few, date(2025, 7, 20)) as small:
        told = people(small, SPAN, MonthFindings(pl.DataFrame(), {}))
    assert not [r for r in told.tables[0].rows if r[0].startswith("people")]
    assert "fewer than 5 people" in told.notes[-1]


def test_with_no_work_nobody_is_called_alike() -> None:
    with depot_of({"jobs": [{"job_id": "J", "unit_id": "U", "opened_at": datetime(2026, 1, 1),
                             "closed_at": datetime(2026, 1, 2)}]}) as quiet:
        assert people(quiet, (date(2026, 1, 1),) * 2, MonthFindings(pl.DataFrame(), {})).words[0] == (
            "Cannot be told: who differs, as there are no groups with enough work."
        )


def test_the_risky_steps_say_by_what_they_are_sorted(depot: Depot, found: MonthFindings) -> None:
    costly = risky_steps(depot, SPAN, found)
    said = costly.words[0]
    assert said.startswith("The come-backs that cost most, for each time a step is done, are attributed to “")
    assert "the costliest first" in costly.tables[0].caption
    unpriced = tables()
    for job in unpriced["jobs"]:
        job |= {"labour_minutes": None, "parts_cost": None, "freight_cost": None}
    for line in unpriced.get("parts", []):
        line["unit_cost"] = None
    with depot_of(unpriced, date(2025, 7, 20)) as opened:
        told = risky_steps(opened, SPAN, found)
        top = opened.steps.risk(months=SPAN).table.filter(pl.col("exposures") >= 20).row(0, named=True)
    assert told.words[0].startswith("Most come-backs, for each time a step is done, are attributed to “")
    assert "most come-backs first" in told.tables[0].caption
    assert told.tables[0].rows[0][3:5] == (f"{top['exposures']:,}", f"{top['per_10000']:,.0f}")


def test_a_table_of_steps_or_shares_says_what_it_counts(facts: MonthFacts) -> None:
    """Two tables of steps on one page count other windows and months, so each says which, and what a share is of."""
    made = {s.key: s for s in facts.sections}
    shares = (*made["cost"].tables, *(f.table for f in made["cost"].figures))
    assert all("shares are of" in t.caption for t in shares if "share" in t.columns)
    steps = [t for key in ("wrong", "cost") for t in made[key].tables if "apart" in t.columns[0]]
    for table, window in zip(steps, (30, 90), strict=True):
        assert f"come-backs of class repeat and workmanship within {window} days, of jobs closed" in table.caption
    assert all(SPLIT in made[key].notes for key in ("wrong", "cost"))


def test_small_groups_and_persons_are_in_no_picture_of_bursts(depot: Depot, found: MonthFindings) -> None:
    bursts = found.answers["bursts"]
    kept = bursts.table.filter((pl.col("dimension") != "technician") & (pl.col("cases") >= 20))
    (figure,) = [f for f in risky_steps(depot, SPAN, found).figures if f.key == "bursts"]
    assert len(figure.table.rows) == kept.height < bursts.table.height


def test_the_gap_of_the_tests_is_counted(depot: Depot, found: MonthFindings) -> None:
    gap = depot.tests.coverage_gap(months=SPAN, window=90).table.filter(pl.col("uncovered") > 0)
    told = [w for w in diagnostics(depot, SPAN, found).words if "no test covers" in w]
    assert gap.height == 1
    assert told == [f"Come-backs whose fault no test covers: main board ({gap['uncovered'][0]})."]


def test_an_action_that_has_not_begun_is_not_met_by_others(depot: Depot) -> None:
    """As of a day, what begins later is not known."""
    assert "A3" in str(depot.verdicts().table.filter(pl.col("action_id") == "A3")["action_id"].to_list())
    warned = " ".join(w or "" for w in depot.verdicts().table["warning"].to_list())
    assert "A3" not in warned


def finding(place: str, scope: dict[str, str], avoided: float | None = None) -> Finding:
    return Finding(
        kind="k", scope=scope, what=f"what of {place}", measure="ratio", size=2.0, low=1.5, high=3.0, worse=True,
        jobs=50, p_value=0.001, caution="mind", check="look", avoided=avoided,
    )


def test_what_is_gone_is_said_and_who_is_not() -> None:
    held, person = finding("here", {"bench": "B-1"}, 11.7), finding("a person", {"technician": "T01"}, 3.0)
    gone = (finding("there", {"bench": "B-2"}), finding("a person", {"technician": "T02"}))
    table = pl.DataFrame({"state": ["new", "new"]})
    told, _, looked = places_to_look(
        MonthFindings(table, {}, ("Compared.",), (held, person), gone=gone), {held.id: "A1"}, ALL, PEOPLE
    )
    assert told[0].state == "new, answered by A1"
    assert [p.where for p in told] == ["bench B-1"]
    assert (
        told[0].size == "ratio 2 (95 % interval 1.5 to 3); like what it is compared with, it would have had some 12 "
        "come-backs fewer"
    )
    named = f"bench B-2: {gone[0].what} ({gone[0].id})."
    assert f"No longer statistically clear, as it was a month before. {named}" in " ".join(looked)
    assert "T0" not in " ".join(looked)


def test_a_picture_of_many_rows_has_a_sheet_of_its_own(facts: MonthFacts) -> None:
    """In print others take a third of a sheet; one that is higher than wide could not be read there."""
    first, *rest = facts.figures
    high = replace(first, spec={**first.spec, "height": 1500})
    page = render(replace(facts, first=(), then=(), last=(), figures=(high, *rest)))
    images = [a for a in Parts(page).of("img") if "tile" not in a["class"]]
    assert [a["class"] for a in images] == ["still tall", *["still"] * len(rest)]


@pytest.mark.parametrize(
    ("compared", "scopes", "said"),
    [
        ({}, (), "Cannot be told: whether there is anything to act on, as there are no comparisons"),
        ({"k": 9}, (), "Nothing to act on: of 9 comparisons none is"),
        ({"k": 9}, ({"technician": "T01"},), "Nothing to act on but the work of single persons"),
    ],
)
def test_a_quiet_month_says_why(compared: dict[str, int], scopes: tuple[dict[str, str], ...], said: str) -> None:
    held = tuple(finding("there", scope) for scope in scopes)
    table = pl.DataFrame({"state": ["new"] * len(held)}, schema={"state": pl.String})
    found = MonthFindings(table, {}, ("Compared.",), held, compared=compared)
    told, quiet, looked = places_to_look(found, {}, ALL, PEOPLE)
    assert told == ()
    assert quiet.startswith(said)
    assert ("1 more concerns the work of a single person" in " ".join(looked)) == bool(scopes)


def test_what_was_never_logged_is_not_called_in_order() -> None:
    with depot_of({"jobs": [{"job_id": "J", "unit_id": "U", "opened_at": datetime(2026, 1, 1),
                             "closed_at": datetime(2026, 1, 2)}]}) as quiet:
        assert (
            safety(quiet, date(2026, 1, 1)).words[0].startswith("Cannot be told: whether a battery was isolated late")
        )
        answers = {"retests": quiet.tests.retests()}
        told = diagnostics(quiet, (date(2026, 1, 1),) * 2, MonthFindings(pl.DataFrame(), {}, (), answers=answers))
    assert [str(w)[:55] for w in told.words] == ["Cannot be told: whether the tests can be believed, as t"]
    assert told.tables == ()


@pytest.mark.slow
def test_an_old_month_as_of_its_day_is_told_as_then() -> None:
    """With all that came later in the store, or with nothing of it: the same facts, to the letter."""
    day, later = date(2025, 2, 14), made_small()
    then = {name: list(rows) for name, rows in later.items()}
    then["jobs"] = [_as_known(j, day) for j in later["jobs"] if j["opened_at"].date() <= day]
    closed = {j["job_id"] for j in then["jobs"] if j.get("disposition") != "open"}
    for table in ("steps", "diagnostics", "parts"):
        then[table] = [r for r in later[table] if r["job_id"] in closed]
    then["actions"] = [a for a in later["actions"] if a["started_on"] <= day]
    assert len(closed) < len(then["jobs"]) < len(later["jobs"])
    assert len(then["actions"]) < len(later["actions"])
    with depot_of(then, day) as one, depot_of(later, day) as other:
        assert describe(one, "2025-01") == describe(other, "2025-01")


def made_small() -> dict[str, Any]:
    made = tables()
    kept = {j["job_id"] for j in made["jobs"][::2]}
    late = made["jobs"][0] | {"job_id": "LATE", "unit_id": "LATE", "opened_at": datetime(2025, 2, 14, 8)}
    made["jobs"] = [*made["jobs"][::2], late | {"closed_at": datetime(2025, 2, 16, 8)}]
    return made | {t: [r for r in made[t] if r["job_id"] in kept] for t in ("steps", "diagnostics", "parts")}


def _as_known(job: dict[str, Any], day: date) -> dict[str, Any]:
    """A job as it stood in the logs on a day: what is written at its closing is not there before."""
    if job["closed_at"].date() <= day:
        return job
    written = ("closed_at", "found", "labour_minutes", "parts_cost", "freight_cost")
    return {name: value for name, value in job.items() if name not in written} | {"disposition": "open"}


def test_an_action_about_a_person_is_counted_and_never_told() -> None:
    """Its scope names one; so may a scope that cannot be read, whose warning would repeat it."""
    rows = made_tables(jobs=300)
    begun = {"started_on": date(2025, 1, 1), "expected_change": "by half"}
    rows["actions"] = [
        {"action_id": "A1", "what": "new mat", "scope": "model=Marl-10", **begun, "finding_id": "F-12345678"},
        {"action_id": "A2", "what": "coaching", "scope": "technician=T01", **begun},
        {"action_id": "A3", "what": "talk", "scope": "Technician=T01", **begun},
    ]
    with depot_of(rows) as depot:
        told = actions(depot, date(2025, 6, 1))
    assert [p.split(":")[0] for p in told.points] == ["new mat (A1, the answer to F-12345678)"]
    assert "T01" not in repr(told)
    assert [n for n in told.notes if n.startswith("Not ")] == [
        "Not shown, as this one is about single persons and for the trainer: A2.",
        "Not judged, as the scope cannot be read: A3; rqa action WORKSPACE says why.",
    ]


@pytest.mark.slow
def test_every_action_and_finding_that_a_text_names_is_told_or_explained(depot: Depot, found: MonthFindings) -> None:
    """Actions about people, of later months and with a scope that cannot be read; findings listed, gone and unknown."""
    listed = found.findings[0].id
    begun = {"started_on": date(2025, 1, 1), "expected_change": "by half"}
    rows = tables() | {
        "actions": [
            {"action_id": "ACT-1", "what": "new mat", "scope": "model=Marl-8", **begun, "finding_id": listed},
            {"action_id": "ACT-2", "what": "coaching", "scope": "technician=Person1", **begun, "finding_id": listed},
            {"action_id": "ACT-3", "what": "talk", "scope": "Technician=T01", **begun},
            {"action_id": "ACT-4", "what": "glue", "scope": "model=Quern", **begun, "finding_id": "F-00000000"},
            {"action_id": "ACT-5", "what": "later", "scope": "model=Quern", "started_on": date(2025, 7, 2)},
        ]
    }
    with depot_of(rows, date(2025, 7, 20)) as opened:
        facts = describe(opened, "2025-06")
    (told,) = [s for s in facts.then if s.key == "actions"]
    words = " ".join((*told.points, *told.notes))
    named = set(re.findall(r"ACT-\d|F-[0-9a-f]{8}", words))
    assert named >= {"ACT-1", "ACT-2", "ACT-3", "ACT-4", "ACT-5", listed, "F-00000000"}
    heads = {p.split(" (")[1].split(",")[0] for p in told.points}
    explained = set(re.findall(r"ACT-\d", " ".join(n for n in told.notes if n.startswith(("Not ", "Begun after")))))
    assert {n for n in named if n.startswith("ACT")} == heads | explained
    assert heads == {"ACT-1", "ACT-4"}
    pointed = {p.id for p in facts.pointers}
    for name in (n for n in named if n.startswith("F-")):
        assert name in pointed or re.search(rf"{name} (\(|is not among)", words)
    assert "F-00000000 is not among the findings of this month or of the one before." in words
    assert f"{listed} (listed above) counts other jobs" in words


@pytest.mark.parametrize("missing", some_slow(["", "found", "freight_cost", "units"], 2))
def test_a_verdict_says_what_it_counts_and_no_money_before_it_is_told(missing: str) -> None:
    rows = tables() | {
        "actions": [
            {"action_id": "ACT-1", "what": "new mat", "scope": "model=Marl-8", "started_on": date(2025, 1, 1)},
        ]
    }
    if missing == "units":
        rows["jobs"] = [{**j, "unit_id": j["job_id"]} for j in rows["jobs"]]
    elif missing:
        rows["jobs"] = [{**j, missing: None} for j in rows["jobs"]]
    with depot_of(rows, date(2025, 7, 20)) as opened:
        told = actions(opened, date(2025, 6, 1))
        (row,) = opened.verdicts().table.to_dicts()
        (money,) = opened.actions.savings().table.to_dicts()
    (point,) = told.points
    if missing == "units":
        assert row["verdict"] == "cannot be told"
        assert "Cannot be told: whether come-backs became fewer" in point
    else:
        jobs = f"{row['returned_before']:,} of {row['jobs_before']:,} matured jobs"
        assert f"{jobs} closed {row['before_from']} to 2024-12-31" in point
        begins = min(j["closed_at"].date() for j in rows["jobs"] if j["closed_at"])
        assert row["before_from"] == max(begins, date(2024, 1, 2))
        assert "within 30 days in the scope (model Marl-8)" in point
        assert ("come-backs of any class" in point) == (missing == "found")
    sure = row["verdict"] in ("worked", "made it worse")
    assert (money["avoided"] is None) == (not sure)
    assert ("EUR" in point or "Spared" in point) == sure
    assert sure or money["cost"] is None


def gone_finding(kind: str, scope: dict[str, str], what: str) -> Finding:
    return Finding(kind, scope, what, "difference of shares", 0.1, 0.05, 0.2, True, 40, 0.001, "", "look")


def test_what_is_gone_is_named_and_does_not_deny_the_headline() -> None:
    """A line says what no longer holds; what the headline calls better or worse is not said to be gone beside it."""
    name = "come-backs within 30 days"
    gone = (
        gone_finding(AGAINST.format(name), {}, "come-backs within 30 days in May 40 %, worse than 20 % before"),
        gone_finding("come-backs by site", {"site": "Alder"}, "30 units of 100 came back"),
    )
    found = MonthFindings(pl.DataFrame({"state": []}), {}, gone=gone)
    for word, named in (("worse", False), ("better", False), ("no clear change", True)):
        verdict = Verdict(name, "May 2025", "40 %", "", "", "20 %", "", word, Sentence(""))
        (line,) = (t for t in places_to_look(found, {}, ALL, PEOPLE, (verdict,))[2] if t.startswith("No longer"))
        assert "site Alder: 30 units of 100 came back (F-" in line
        assert ("the whole depot: come-backs within 30 days in May 40 %" in line) == named


def test_who_is_compared_among_the_findings_stands_in_the_table(depot: Depot, facts: MonthFacts) -> None:
    """A manager who reads that no bench differs reads it of first checks, too; and of no rows that are not shown."""
    assert set(COMPARED) == {(who, outcome) for who, outcome, _ in people_section.COMPARED}
    (section,) = (s for s in facts.sections if s.key == "people")
    named = {row[0].partition(":")[0] for row in section.tables[0].rows}
    assert {"sites", "benches", "tools", "test stations"} <= named
    for note in (n for n in section.notes if n.startswith("Not shown, as")):
        assert not any(row[0] in note for row in section.tables[0].rows)
