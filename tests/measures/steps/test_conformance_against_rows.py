"""Whether jobs followed their procedure, against a slow row loop, on logs full of ties, gaps and second attempts."""

from collections.abc import Mapping
from datetime import timedelta
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.answers.steps.conformance import breach_counts
from rqa.demo.catalogue import PAIRINGS, PROCEDURES
from rqa.measures.run import counts
from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures.small_depots import START, maybe
from tests.measures.steps import by_hand_conformance

SLOW = settings(
    max_examples=examples(6), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
COUNTS = ("jobs", "matured", "returned", "breached", "breached_matured", "breached_returned")
KINDS = (
    "", "missing", "skipped", "left_failed", "count_not_done", "unequal_connectors", "out_of_order",
    "check_before_tightening", "isolated_late", "reconnected_early", "irreversible_before_hold", "pairing",
)
USUAL: dict[str, dict[str, Any]] = {
    "open": {"phase": "open"},
    "isolate": {"phase": "isolate", "hold_point": True, "hazards": ["battery"]},
    "isolate too": {"phase": "isolate"},
    "release": {"phase": "release", "subsystems": ["port", "battery"]},
    "fit": {"phase": "fit", "hazards": ["mixed_fasteners"]},
    "write": {"phase": "fit", "irreversible": True},
    "reseat": {"phase": "reseat", "subsystems": ["port"], "hazards": ["battery"]},
    "count": {"phase": "verify", "hold_point": True, "opportunities": 6},
    "reconnect": {"phase": "reseat", "subsystems": ["battery"], "hazards": ["battery"]},
    "tighten": {"phase": "close", "hazards": ["mixed_fasteners"]},
    "align": {"phase": "align", "hazards": ["alignment"]},
}
UNUSUAL: tuple[dict[str, Any], ...] = (
    {"phase": "verify", "hazards": ["alignment", "battery"]}, {"irreversible": True},
    {"subsystems": None, "hazards": None}, {"phase": "reseat", "hazards": ["battery"]}, {"phase": "isolate"},
    {"hold_point": True}, {"phase": "release", "subsystems": ["port", "port"]},
)
seeds = st.integers(0, 2**32)
as_ofs = st.one_of(st.none(), st.integers(-5, 130).map(lambda d: START.date() + timedelta(days=d)))


def procedures(r: Random) -> list[dict[str, Any]]:
    """Two procedures of usual and unusual steps: some named twice, some to follow a later step or none there is."""
    made = []
    for procedure in ("board", "screen"):
        names = r.choice((list(USUAL), [r.choice(tuple(USUAL)) for _ in range(r.randint(0, 9))]))
        odd = r.sample(range(12), 2)
        for place, step in enumerate(names):
            row = {"subsystems": None, "hazards": None, **USUAL[step], **(r.choice(UNUSUAL) if place in odd else {})}
            follows = r.choice((None, None, None, *names[:place], *names[:place], "nothing", names[-1]))
            made.append(completed("procedures", {
                "procedure": procedure, "step_seq": place * 3, "step": step, "must_follow": follows, **row,
            }))
    return made


def repairs(r: Random) -> list[dict[str, Any]]:
    made = []
    for number in range(24):
        opened = START + timedelta(days=r.randint(0, 75), hours=r.choice((0, 0, 1)))
        disposition = r.choice(("repaired",) * 6 + ("no_fault_found", "not_economic", "cancelled", "open"))
        stays = timedelta(hours=r.choice((0, 1, 30, 24 * 5)))
        made.append(completed("jobs", {
            "job_id": f"J{number}", "unit_id": f"U{r.randint(0, 9)}", "model": r.choice(("Marl-8", "Quern")),
            "site": r.choice(("Alder", "Birch")), "procedure": r.choice(("board", "board", "screen", "radio")),
            "opened_at": opened, "closed_at": None if disposition == "open" else opened + stays,
            "disposition": disposition, "complaint": None, "found": None, "technician": r.choice((None, "T01", "T02")),
            "billing": None,
        }))
    return made


def logged(seed: int) -> dict[str, list[dict[str, Any]]]:
    """A small depot whose jobs follow their procedures, but for a few attempts."""
    r = Random(seed)
    made: dict[str, list[dict[str, Any]]] = {"jobs": repairs(r), "procedures": procedures(r), "steps": []}
    for job in made["jobs"]:
        order = list(dict.fromkeys(p["step"] for p in made["procedures"] if p["procedure"] == job["procedure"]))
        for _ in range(r.choice((0, 1, 2)) if order else 0):
            order.insert(r.randrange(len(order)), order.pop(r.randrange(len(order))))
        order = r.choice((order,) * 7 + ([],))
        coarse, stamps = r.choice((1, 1, 4)), r.choice(("both", "both", "mixed", "none"))
        odd = r.sample(range(12), r.choice((0, 1, 3)))
        for place, step in enumerate([*order, "not in it"]):
            for attempt in range(1, (r.choice((0, 1, 2)) if place in odd else 1) + 1):
                at = r.choice((place, 3, 60 * 24 * 80)) if place in odd else place
                begun = START + timedelta(minutes=at // coarse * coarse)
                known = r.choice(("both", "start", "end", "neither")) if stamps == "mixed" else stamps
                made["steps"].append(completed("steps", {
                    "job_id": job["job_id"], "step_seq": place, "attempt": attempt, "step": step,
                    "outcome": r.choice(("pass", "fail", "done", "skipped")) if place in odd else "pass",
                    "started_at": begun if known in ("both", "start") else None,
                    "ended_at": begun + timedelta(minutes=(place + attempt) % 2) if known in ("both", "end") else None,
                    "technician": None, "bench": r.choice(("B2", None)) if place in odd else "B1",
                }))
    made["pairings"] = [{"part_no": "P1", "requires_part_no": "P2"}, {"part_no": "P1", "requires_part_no": "P3"}]
    made["parts"] = [
        {"job_id": job["job_id"], "line": line, "part_no": part, "quantity": r.choice((None, 1.0, 0.0))}
        for job in made["jobs"]
        for line, part in enumerate(r.sample(("P1", "P2", "P3"), r.randint(0, 3)))
    ]
    return made


def bench_of(job: Mapping[str, Any], data: Mapping[str, Any], day: Any) -> str:
    named = {
        s["bench"] for s in data["steps"]
        if s["job_id"] == job["job_id"] and s["bench"] is not None and (s["done_on"] is None or s["done_on"] <= day)
    }
    plan = by_hand_conformance.declared(job["procedure"], data)
    if not any(by_hand_conformance.attempts(job, p["step"], data, day) for p in plan):
        return "unknown"
    return named.pop() if len(named) == 1 else "several" if named else "unknown"


@SLOW
@given(seed=seeds, as_of=as_ofs, by=maybe(((), ("site",), ("bench", "technician"))))
def test_who_departed_from_the_procedure(seed: int, as_of: Any, by: tuple[str, ...]) -> None:
    data = logged(seed)
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        table = breach_counts(depot._store, by, day=day, window=30)
    keys = [*by, "of_procedure", "of_model", "kind", "step"]
    found = {tuple(row[k] for k in keys): tuple(row[c] for c in COUNTS) for row in table.iter_rows(named=True)}

    def group(job: Mapping[str, Any]) -> tuple[str, ...]:
        return tuple(bench_of(job, data, day) if n == "bench" else job[n] or "unknown" for n in by)

    assert found == by_hand_conformance.conformance(data, group, 30, day)


@SLOW
@given(seed=seeds, as_of=as_ofs)
def test_the_list_of_battery_breaches(seed: int, as_of: Any) -> None:
    data = logged(seed)
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        table = counts(depot._store, "battery_breaches", values={"as_of": day})
    names = ("job_id", "kind", "step", "other_step", "acted_at", "reached_at", "state")
    assert sorted(map(repr, table.select(names).rows())) == sorted(map(repr, by_hand_conformance.battery(data, day)))


@SLOW
@given(seed=seeds, as_of=as_ofs, by=st.sampled_from(((), ("site",), ("procedure", "billing"))))
def test_of_how_many_jobs_a_breach_could_be_seen(seed: int, as_of: Any, by: tuple[str, ...]) -> None:
    data = logged(seed)
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        table = counts(depot._store, "battery_looked_at", by=by, values={"as_of": day})
    found = {row[: len(by)]: row[len(by) :] for row in table.rows() if row[len(by)]}
    expected = by_hand_conformance.looked_at(data, lambda job: tuple(job[n] or "unknown" for n in by), day)
    assert found == expected


def to_the_letter(began: Any, ended: Any) -> dict[str, list[dict[str, Any]]]:
    """A repaired job of each procedure of the demo, its steps logged in their order, timed as the functions say."""
    closed = START + timedelta(hours=5)
    made: dict[str, list[dict[str, Any]]] = {"pairings": [{"part_no": a, "requires_part_no": b} for a, b in PAIRINGS]}
    for n, (procedure, plan) in enumerate(PROCEDURES.items()):
        job = f"J{n}"
        rows = {
            "jobs": [{"job_id": job, "unit_id": f"U{n}", "procedure": procedure, "opened_at": START,
                      "closed_at": closed}],
            "procedures": [
                {"procedure": procedure, "step_seq": i, "step": s.step, "phase": s.phase,
                 "subsystems": s.subsystems.split(), "hazards": s.hazards.split() or None,
                 "opportunities": s.opportunities, "hold_point": s.flag == "hold",
                 "irreversible": s.flag == "irreversible", "must_follow": s.after or None}
                for i, s in enumerate(plan, 1)
            ],
            "steps": [
                {"job_id": job, "step_seq": i, "step": s.step, "outcome": "done" if s.fails is None else "pass",
                 "started_at": began(i), "ended_at": ended(i)}
                for i, s in enumerate(plan, 1)
            ],
            "parts": [{"job_id": job, "line": i, "part_no": p} for i, p in enumerate(PAIRINGS[0])],
        }
        for name, more in rows.items():
            made.setdefault(name, []).extend(more)
    return made


def minute(place: int) -> Any:
    return START + timedelta(minutes=place)


@pytest.mark.parametrize(
    ("began", "ended"),
    [
        (minute, lambda place: minute(place + 1)),
        (lambda place: START, lambda place: START),
        (lambda place: None, lambda place: None),
        (lambda place: None, minute),
    ],
    ids=["each begins as the last one ends", "one minute for all", "no times", "ends alone"],
)
def test_a_procedure_followed_to_the_letter_is_clean(began: Any, ended: Any) -> None:
    with depot_of(to_the_letter(began, ended)) as depot:
        table = counts(depot._store, "conformance", values={"as_of": depot.as_of.date(), "window": 30})
        listed = counts(depot._store, "battery_breaches", values={"as_of": depot.as_of.date()})
    kinds = table.filter(table["step"] == "")
    assert kinds.group_by("kind").len().height == len(KINDS) - 1
    assert (kinds["jobs"] == 1).all()
    assert table["breached"].sum() == 0
    assert listed.height == 0


def test_a_procedure_of_more_than_sixty_steps() -> None:
    """Steps are told apart by bits in words of sixty: one job logs all, one all but two, one nothing but the first."""
    names = [f"step {n}" for n in range(130)]
    logs = {"J0": names, "J1": [n for n in names if n not in ("step 60", "step 129")], "J2": names[:1]}
    data = {
        "procedures": [{"procedure": "board", "step_seq": i, "step": name} for i, name in enumerate(names)],
        "jobs": [{"job_id": j, "unit_id": j, "opened_at": START, "closed_at": minute(600)} for j in logs],
        "steps": [
            {"job_id": job, "step_seq": place, "step": name, "ended_at": minute(place)}
            for job, log in logs.items()
            for place, name in enumerate(log)
        ],
    }
    with depot_of(data) as depot:
        table = counts(depot._store, "conformance", values={"as_of": depot.as_of.date(), "window": 30})
    missing = dict(table.filter(table["kind"] == "missing").select("step", "breached").rows())
    assert missing == {"": 2, "step 0": 0, **{n: 1 + (n in ("step 60", "step 129")) for n in names[1:]}}
