"""Whether jobs followed their procedure, again, one attempt at a time, from the definitions."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from tests.measures.by_hand import Row, Tables, links

DONE = ("pass", "done")
INSIDE = ("release", "remove", "fit", "reseat")
Breach = tuple[str, str]


def declared(procedure: str, tables: Tables) -> list[Row]:
    """The steps of a procedure in order, each at its first place."""
    found: dict[str, Row] = {}
    for row in sorted((p for p in tables["procedures"] if p["procedure"] == procedure), key=lambda p: p["step_seq"]):
        found.setdefault(row["step"], row)
    return list(found.values())


def has(row: Row, hazard: str) -> bool:
    return hazard in (row["hazards"] or ())


def counts_connectors(row: Row) -> bool:
    return bool(row["phase"] == "verify" and row["hold_point"] and row["opportunities"] > 1)


def attempts(job: Row, step: str, tables: Tables, as_of: date) -> list[Row]:
    return [
        s
        for s in tables["steps"]
        if s["job_id"] == job["job_id"]
        and s["step"] == step
        and not (s["done_on"] is not None and s["done_on"] > as_of)
    ]


def start(attempt: Row) -> datetime | None:
    return attempt["started_at"] if attempt["started_at"] is not None else attempt["ended_at"]


def end(attempt: Row) -> datetime | None:
    return attempt["ended_at"] if attempt["ended_at"] is not None else attempt["started_at"]


def finished(log: list[Row]) -> list[Row]:
    return [a for a in log if a["outcome"] in DONE]


def tried(log: list[Row]) -> list[Row]:
    return [a for a in log if a["outcome"] != "skipped"]


def before_the_first(acts: list[Row], milestones: list[Row]) -> list[Row]:
    """Acts begun before the milestone was first reached; by place where a time is missing or times are equal."""
    ends = [(end(m), m["step_seq"]) for m in milestones if end(m) is not None]
    place = min(m["step_seq"] for m in milestones)
    return [
        a
        for a in acts
        if ((start(a), a["step_seq"]) < min(ends) if ends and start(a) is not None else a["step_seq"] < place)
    ]


def after_the_last(acts: list[Row], checks: list[Row]) -> list[Row]:
    """Acts ended after the last check began; by place where a time is missing or times are equal."""
    begun = [(start(c), c["step_seq"]) for c in checks if start(c) is not None]
    place = max(c["step_seq"] for c in checks)
    return [
        a
        for a in acts
        if ((end(a), a["step_seq"]) > max(begun) if begun and end(a) is not None else a["step_seq"] > place)
    ]


def last_screws(plan: list[Row], at: int) -> str | None:
    found = [p["step"] for p in plan[:at] if p["phase"] in ("fit", "close") and has(p, "mixed_fasteners")]
    return found[-1] if found else None


def order_breaches(plan: list[Row], log: Callable[[str], list[Row]]) -> set[Breach]:
    found: set[Breach] = set()
    reseats = [p["step"] for p in plan if p["phase"] == "reseat" and has(p, "battery")]
    for at, step in enumerate(plan):
        name, earlier = step["step"], plan[:at]
        aligns = step["phase"] in ("align", "verify") and has(step, "alignment")
        reconnects = bool(reseats) and name == reseats[-1]
        follows = next((p for p in earlier if p["step"] == step["must_follow"]), None)
        if aligns:
            tighten = step["must_follow"] if step["must_follow"] is not None else last_screws(plan, at)
            there = tighten in [p["step"] for p in earlier] and finished(log(name))
            if there and after_the_last(finished(log(str(tighten))), finished(log(name))):
                found.add(("check_before_tightening", name))
        if reconnects:
            for p in earlier:
                if counts_connectors(p) or p is follows:
                    found |= never_or_late("reconnected_early", name, log(p["step"]), log(name))
        if step["irreversible"]:
            for p in earlier:
                if p["hold_point"]:
                    found |= never_or_late("irreversible_before_hold", name, log(p["step"]), log(name))
        told_elsewhere = aligns or reconnects or (follows and step["irreversible"] and follows["hold_point"])
        if follows is not None and not told_elsewhere:
            first = finished(log(follows["step"]))
            if first and before_the_first(tried(log(name)), first):
                found.add(("out_of_order", name))
        if isolates(step):
            inside = [a for p in plan[at + 1 :] if p["phase"] not in ("open", "isolate") for a in log(p["step"])]
            found |= never_or_late("isolated_late", name, log(name), inside)
    return found


def never_or_late(kind: str, step: str, milestone: list[Row], acts: list[Row]) -> set[Breach]:
    if not tried(acts):
        return set()
    if finished(milestone) and not before_the_first(tried(acts), finished(milestone)):
        return set()
    return {(kind, step)}


def gap_breaches(plan: list[Row], log: Callable[[str], list[Row]]) -> set[Breach]:
    found: set[Breach] = set()
    for step in plan:
        name = step["step"]
        if finished(log(name)):
            continue
        found.add((("left_failed" if tried(log(name)) else "skipped") if log(name) else "missing", name))
        if counts_connectors(step):
            found.add(("count_not_done", name))
    return found


def unequal(plan: list[Row], log: Callable[[str], list[Row]]) -> set[Breach]:
    found: set[Breach] = set()
    for subsystem in {s for p in plan for s in p["subsystems"] or ()}:
        ends = {
            phase: [p["step"] for p in plan if p["phase"] == phase and subsystem in (p["subsystems"] or ())]
            for phase in ("release", "reseat")
        }
        for here, there in (("release", "reseat"), ("reseat", "release")):
            if any(finished(log(s)) for s in ends[there]):
                found |= {("unequal_connectors", s) for s in ends[here] if not finished(log(s))}
    return found


def pairing(job: Row, tables: Tables) -> bool | None:
    """Whether a required part is lacking; None where no part fitted requires one."""
    fitted = {
        p["part_no"]
        for p in tables["parts"]
        if p["job_id"] == job["job_id"] and (p["quantity"] is None or p["quantity"] > 0)
    }
    needed = {r["requires_part_no"] for r in tables["pairings"] if r["part_no"] in fitted}
    return bool(needed - fitted) if needed else None


def possible(plan: list[Row]) -> set[Breach]:
    """What a job of this procedure could break, by kind and step: what one would that did nothing it should."""
    could = {(kind, p["step"]) for p in plan for kind in ("missing", "skipped", "left_failed")}
    could |= {("count_not_done", p["step"]) for p in plan if counts_connectors(p)}
    for p in plan:
        if p["phase"] in ("release", "reseat"):
            other = "reseat" if p["phase"] == "release" else "release"
            if any(q["phase"] == other and set(q["subsystems"] or ()) & set(p["subsystems"] or ()) for q in plan):
                could.add(("unequal_connectors", p["step"]))
    return could | ordered(plan)


def ordered(plan: list[Row]) -> set[Breach]:
    """Rules of order of a procedure, found by logging it backwards."""
    log = {p["step"]: [backwards(p["step"], len(plan) - i)] for i, p in enumerate(plan)}
    return order_breaches(plan, lambda step: log.get(step, []))


def backwards(step: str, place: int) -> dict[str, Any]:
    return {"step": step, "step_seq": place, "outcome": "pass", "started_at": None, "ended_at": None, "attempt": 1}


Cell = tuple[str, ...]


def conformance(tables: Tables, by: Callable[[Row], Cell], window: int, as_of: date) -> dict[Cell, tuple[int, ...]]:
    """jobs, matured, returned, breached, breached_matured, breached_returned by group, procedure, model, kind, step."""
    made: dict[Cell, list[int]] = {}
    followed = links(tables)
    known = {p["procedure"] for p in tables["procedures"]}
    for job in tables["jobs"]:
        if job["disposition"] != "repaired" or job["closed_on"] > as_of:
            continue
        _, _, days, _ = followed.get(job["job_id"], (job, None, None, None))
        mature = job["job_id"] in followed and (as_of - job["closed_on"]).days >= window
        back = mature and days is not None and days <= window
        plan = declared(job["procedure"], tables)
        could, did = judge(job, plan, tables, as_of) if job["procedure"] in known else ({("no_procedure", "")}, set())
        for cell in could:
            row = made.setdefault((*by(job), job["procedure"], job["model"], *cell), [0] * 6)
            row[0] += 1
            row[1] += mature
            row[2] += back
            if cell in did:
                row[3] += 1
                row[4] += mature
                row[5] += back
    return {key: tuple(row) for key, row in made.items()}


def judge(job: Row, plan: list[Row], tables: Tables, as_of: date) -> tuple[set[Breach], set[Breach]]:
    """What a job could have broken and what it did, with '' for any kind or step."""
    if not any(attempts(job, p["step"], tables, as_of) for p in plan):
        return {("no_log", "")}, set()
    could, did = possible(plan), breaches(job, plan, tables, as_of)
    lacking = pairing(job, tables)
    if lacking is not None:
        could.add(("pairing", ""))
    return any_of(could), any_of(did)


def breaches(job: Row, plan: list[Row], tables: Tables, as_of: date) -> set[Breach]:
    def log(step: str) -> list[Row]:
        return attempts(job, step, tables, as_of)

    found = order_breaches(plan, log) | gap_breaches(plan, log) | unequal(plan, log)
    return found | ({("pairing", "")} if pairing(job, tables) else set())


def any_of(cells: set[Breach]) -> set[Breach]:
    """The cells, and those for any step and for any kind; breaches of the battery's order are no part of the latter."""
    averaged = {(k, s) for k, s in cells if k not in ("isolated_late", "reconnected_early")}
    steps = {("", s) for _, s in averaged if s}
    return cells | {(k, "") for k, _ in cells} | steps | ({("", "")} if averaged else set())


def battery(tables: Tables, as_of: date) -> set[tuple[Any, ...]]:
    """job, kind, step, other step, when begun, when reached, state."""
    found: set[tuple[Any, ...]] = set()
    for job in tables["jobs"]:
        if job["disposition"] == "open" or job["closed_on"] > as_of:
            continue
        plan, repaired = declared(job["procedure"], tables), job["disposition"] == "repaired"
        reseats = [p["step"] for p in plan if p["phase"] == "reseat" and has(p, "battery")]
        for at, step in enumerate(plan):
            if isolates(step):
                acts = [
                    a
                    for p in plan[at + 1 :]
                    if (p["phase"] in INSIDE if not repaired else p["phase"] not in ("open", "isolate"))
                    for a in tried(attempts(job, p["step"], tables, as_of))
                ]
                found |= listed(job, "isolated_late", step["step"], step["step"], acts, tables, as_of, needed=True)
            if reseats and step["step"] == reseats[-1]:
                acts = tried(attempts(job, step["step"], tables, as_of))
                for p in plan[:at]:
                    if counts_connectors(p) or p["step"] == step["must_follow"]:
                        found |= listed(
                            job, "reconnected_early", step["step"], p["step"], acts, tables, as_of, needed=repaired
                        )
    return found


def isolates(step: Row) -> bool:
    """Whether a step isolates the battery: other things are isolated, too, such as a water pipe."""
    return step["phase"] == "isolate" and has(step, "battery")


def looked_at(tables: Tables, by: Callable[[Row], Cell], as_of: date) -> dict[Cell, tuple[int, int, int]]:
    """By group: closed jobs, those with a log, those of these whose procedure has a step that isolates."""
    found: dict[Cell, list[int]] = {}
    for job in tables["jobs"]:
        if job["disposition"] != "open" and job["closed_on"] <= as_of:
            logged = any(s["job_id"] == job["job_id"] for s in tables["steps"])
            told = any(isolates(p) for p in declared(job["procedure"], tables))
            row = found.setdefault(by(job), [0, 0, 0])
            for place, counted in enumerate((True, logged, logged and told)):
                row[place] += counted
    return {key: (a, b, c) for key, (a, b, c) in found.items()}


def listed(
    job: Row, kind: str, step: str, milestone: str, acts: list[Row], tables: Tables, as_of: date, *, needed: bool
) -> set[tuple[Any, ...]]:
    log = attempts(job, milestone, tables, as_of)
    reached = finished(log)
    early = before_the_first(acts, reached) if reached else acts if needed else []
    if not early:
        return set()
    first = min(early, key=lambda a: (start(a) is None, start(a) or datetime.min, a["step_seq"], a["attempt"]))
    ends = [end(m) for m in reached if end(m) is not None]
    state = "later" if reached else "failed" if tried(log) else "skipped" if log else "missing"
    other = first["step"] if kind == "isolated_late" else milestone
    return {(job["job_id"], kind, step, other, start(first), min(ends) if ends else None, state)}
