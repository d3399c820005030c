"""The concepts of the store again, one row at a time, from what their headers say.

What is told of a row is the least that tells the concepts apart: the store's SQL gives the same columns.
"""

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from functools import partial
from typing import Any

from tests.measures.by_hand import Row, Tables, known, links
from tests.measures.comebacks.by_hand_returns import end_of_follow_up, retired_on
from tests.measures.comebacks.by_hand_returns import index_jobs as seen_jobs
from tests.measures.steps import by_hand_conformance
from tests.measures.tests.by_hand_diagnostics import attempts_of, first_judged, first_run, release_rows, runs_seen
from tests.measures.yields.by_hand_work import day_of, job_of, who

JOB_NAMES = ("site", "model", "procedure", "technician", "billing")
Rows = list[tuple[Any, ...]]


def declared_steps(data: Tables) -> Rows:
    made = []
    for procedure, step in {(p["procedure"], p["step"]) for p in data["procedures"]}:
        places = [p for p in data["procedures"] if (p["procedure"], p["step"]) == (procedure, step)]
        chances = [1 if p["opportunities"] is None else p["opportunities"] for p in places]
        first = min(places, key=lambda p: p["step_seq"])
        made.append((procedure, step, first["phase"], -(-sum(chances) // len(chances))))
    return made


def step_subsystems(data: Tables) -> Rows:
    return list({(p["procedure"], p["step"], s) for p in data["procedures"] for s in p["subsystems"] or ()})


def plans(data: Tables) -> list[tuple[str, list[Row]]]:
    names = {p["procedure"] for p in data["procedures"]}
    return [(name, by_hand_conformance.declared(name, data)) for name in names]


def reconnections(plan: Sequence[Row]) -> set[str]:
    reseats = [p["step"] for p in plan if p["phase"] == "reseat" and by_hand_conformance.has(p, "battery")]
    return set(reseats[-1:])


def procedure_plan(data: Tables) -> Rows:
    return [
        (
            name, place, p["step"], by_hand_conformance.counts_connectors(p),
            p["phase"] in ("align", "verify") and by_hand_conformance.has(p, "alignment"),
            by_hand_conformance.isolates(p), p["step"] in reconnections(plan),
        )
        for name, plan in plans(data)
        for place, p in enumerate(plan)
    ]


def battery_order(data: Tables) -> Rows:
    made: Rows = []
    for name, plan in plans(data):
        for at, a in enumerate(plan):
            for b in plan[at + 1 :]:
                if by_hand_conformance.isolates(a) and b["phase"] not in ("open", "isolate"):
                    made.append((name, "isolated_late", a["step"], a["step"], b["step"], b["phase"]))
                before = by_hand_conformance.counts_connectors(a) or a["step"] == b["must_follow"]
                if b["step"] in reconnections(plan) and before:
                    made.append((name, "reconnected_early", b["step"], a["step"], b["step"], b["phase"]))
    return made


def order_rules(data: Tables) -> Rows:
    """Pairs of steps, a milestone and an act, rule by rule."""
    made: Rows = [(p, kind, step, m, act, 1) for p, kind, step, m, act, _ in battery_order(data)]
    for name, plan in plans(data):
        for at, b in enumerate(plan):
            aligns = b["phase"] in ("align", "verify") and by_hand_conformance.has(b, "alignment")
            tighten = b["must_follow"] or by_hand_conformance.last_screws(plan, at)
            for a in plan[:at]:
                if aligns and a["step"] == tighten:
                    made.append((name, "check_before_tightening", b["step"], b["step"], a["step"], -1))
                held = b["irreversible"] and a["hold_point"]
                if held:
                    made.append((name, "irreversible_before_hold", b["step"], a["step"], b["step"], 1))
                elsewhere = aligns or held or b["step"] in reconnections(plan)
                if a["step"] == b["must_follow"] and not elsewhere:
                    made.append((name, "out_of_order", b["step"], a["step"], b["step"], 1))
    return made


def connector_ends(data: Tables) -> Rows:
    made: Rows = []
    for name, plan in plans(data):
        ends = [(p["step"], p["phase"], s) for p in plan if p["phase"] in ("release", "reseat")
                for s in set(p["subsystems"] or ())]
        for step, phase, of in ends:
            both = [sum((p, s) == (end, of) for _, p, s in ends) for end in ("release", "reseat")]
            made += [(name, step, phase, of, *both)] if all(both) else []
    return made


def breaches_by_rows(data: Tables, as_of: date, *, later: bool = False) -> Rows:
    """The breaches of each repaired job, and whether one of pairing was possible; of those with later steps alone."""
    made: Rows = []
    for job in data["jobs"]:
        plan = by_hand_conformance.declared(job["procedure"], data)
        days = [s["done_on"] for s in data["steps"] if s["job_id"] == job["job_id"] and s["done_on"] is not None]
        looked_at = job["disposition"] == "repaired" and job["closed_on"] <= as_of and plan
        if looked_at and (not later or any(day > as_of for day in days)):
            could, _ = by_hand_conformance.judge(job, plan, data, as_of)
            if ("no_log", "") not in could:
                found = by_hand_conformance.breaches(job, plan, data, as_of)
                found |= {("paired", "")} if ("pairing", "") in could else set()
                made += [(job["job_id"], *breach) for breach in found]
    return made


def jobs_cut_off(data: Tables, as_of: date) -> Rows:
    """Repaired jobs with later steps; the benches of those until the day, where one of them is of the procedure."""
    made: Rows = []
    for job in data["jobs"]:
        own = [s for s in data["steps"] if s["job_id"] == job["job_id"]]
        until = [s for s in own if s["done_on"] is None or s["done_on"] <= as_of]
        if job["disposition"] == "repaired" and job["closed_on"] <= as_of and len(until) < len(own):
            plan = {p["step"] for p in by_hand_conformance.declared(job["procedure"], data)}
            judged = any(s["step"] in plan for s in until)
            benches = sorted(s["bench"] for s in until if s["bench"] is not None) if judged else []
            told = (job[name] for name in ("site", "model", "procedure", "technician", "billing", "closed_on"))
            made.append((job["job_id"], *told, judged, *((benches[0], benches[-1]) if benches else (None, None))))
    return made


def breaches_cut_off(data: Tables, as_of: date) -> Rows:
    """The breaches of jobs with later steps: whether each comes first of its job and kind, job and step, and job."""
    jobs = {row[0]: (row[1], *row[-2:]) for row in jobs_cut_off(data, as_of)}
    listed = breaches_by_rows(data, as_of, later=True)
    made: Rows = []
    for job, kind, step in listed:
        own = [b[1:] for b in listed if b[0] == job]
        counted = [b for b in own if b[0] not in ("paired", "isolated_late", "reconnected_early")]
        marks = (
            step == min(s for k, s in own if k == kind),
            (kind, step) in counted and kind == min(k for k, s in counted if s == step),
            (kind, step) in counted and (kind, step) == min(counted),
        )
        made.append((job, kind, step, *marks, *jobs[job]))
    return made


def marks_of(s: Row, data: Tables) -> tuple[bool, bool]:
    """Whether a first attempt's place was worked on again, and whether it was checked up to the first failure."""
    own = [o for o in data["steps"] if o["job_id"] == s["job_id"]]
    later = [o for o in own if o["step_seq"] == s["step_seq"] and o["attempt"] > 1 and o["outcome"] != "skipped"]
    fails = [o["step_seq"] for o in own if o["attempt"] == 1 and o["outcome"] == "fail"]
    first = s["attempt"] == 1
    up_to = s["outcome"] in ("pass", "fail") and s["step_seq"] <= min(fails, default=s["step_seq"])
    return first and bool(later), first and up_to


def marked_attempts(data: Tables) -> Rows:
    return [(s["job_id"], s["step_seq"], s["attempt"], s["step"], *marks_of(s, data)) for s in data["steps"]]


def turns(data: Tables) -> dict[tuple[Any, ...], list[Row]]:
    """The attempts of each turn: job, technician, bench and day as logged; a job without a log has one of nothing."""
    made: dict[tuple[Any, ...], list[Row]] = {}
    for s in data["steps"]:
        made.setdefault((s["job_id"], s["technician"], s["bench"], s["done_on"]), []).append(s)
    logged = {key[0] for key in made}
    return made | {(j["job_id"], None, None, None): [] for j in data["jobs"] if j["job_id"] not in logged}


def index_turns(data: Tables, as_of: date) -> Rows:
    jobs = {job: (ripe, back) for job, _, _, ripe, back in index_jobs(data, as_of)}
    own = {j["job_id"]: j["technician"] for j in data["jobs"]}
    return [(job, own[job] if who is None else who, bench, day, *jobs[job]) for job, who, bench, day in turns(data)
            if job in jobs]


def fitted_lots(data: Tables) -> Rows:
    return list({(p["job_id"], p["part_no"], p["lot"]) for p in data["parts"] if p["lot"] is not None})


def attempts_of_jobs(data: Tables) -> Rows:
    made = []
    for s in data["steps"]:
        job = job_of(s, data)
        told = [None if job is None else job[name] for name in ("site", "model", "procedure", "billing")]
        own = (s["job_id"], s["step_seq"], s["attempt"], s["outcome"])
        made.append((*own, who(s, job), day_of(s, job), *told, s["step"]))
    return made


def attempts_until(data: Tables, as_of: date) -> Rows:
    plan = {row[:2]: row[2:] for row in declared_steps(data)}
    seen = [row for row in attempts_of_jobs(data) if row[5] is None or row[5] <= as_of]
    return [(*row, *plan.get((row[8], row[10]), (None, None))) for row in seen]


def runs_until(data: Tables, as_of: date) -> Rows:
    seen = [r for r in data["diagnostics"] if r["run_on"] is None or r["run_on"] <= as_of]
    return [(r["job_id"], r["test"], r["run"], r["outcome"]) for r in seen]


def runs_of_jobs(data: Tables, as_of: date) -> Rows:
    made = []
    for job_id, test, run, outcome in runs_until(data, as_of):
        job = job_of({"job_id": job_id}, data)
        made.append((job_id, test, run, outcome, *(None if job is None else job[name] for name in JOB_NAMES)))
    return made


def first_checks_of(log: str) -> Callable[[Tables, date], Rows]:
    def first_checks(data: Tables, as_of: date) -> Rows:
        if log == "steps":
            rows = [(r[0], *r[4:10], None, r[3]) for r in attempts_until(data, as_of) if r[2] == 1]
        else:
            on = {(r["job_id"], r["test"], r["run"]): r["run_on"] for r in data["diagnostics"]}
            rows = [
                (r[0], r[7], on[r[:3]], *r[4:7], r[8], r[1], r[3]) for r in runs_of_jobs(data, as_of) if r[2] == 1
            ]
        return [(*row[:-1], row[-1] == "fail") for row in rows if row[-1] in ("pass", "fail")]

    return first_checks


def first_runs(data: Tables, as_of: date) -> Rows:
    return [row for row in runs_until(data, as_of) if row[2] == 1]


def failed_first_runs(data: Tables, as_of: date) -> Rows:
    first = [(key, first_judged(runs)) for key, runs in runs_seen(data, as_of).items()]
    return [(*key, r["run"], r["run_at"]) for key, r in first if r is not None and r["outcome"] == "fail"]


def unpassed_tests(data: Tables, as_of: date) -> Rows:
    last = {key: runs[-1] for key, runs in runs_seen(data, as_of).items()}
    return [(*key, r["run"], r["outcome"], r["run_at"]) for key, r in last.items() if r["outcome"] != "pass"]


def work_ended(data: Tables, as_of: date) -> Rows:
    made = []
    for job in {s["job_id"] for s in data["steps"]}:
        own = attempts_of(job, data)
        ends = [end for s, _, end in own if end is not None and (s["done_on"] is None or s["done_on"] <= as_of)]
        made += [(job, max(ends))] if ends else []
    return made


def outdated_tests(data: Tables, as_of: date) -> Rows:
    until = dict(work_ended(data, as_of))
    last = {key: runs[-1]["run_at"] for key, runs in runs_seen(data, as_of).items()}
    return [(job, test, at) for (job, test), at in last.items() if job in until and at < until[job]]


def released_jobs(data: Tables, as_of: date) -> Rows:
    return [(job,) for job in release_rows(data, as_of=as_of, usual=0.8, min_cases=1)]


def usual_tests(data: Tables, as_of: date) -> Rows:
    made = []
    for job, r in release_rows(data, as_of=as_of, usual=0.6, min_cases=2).items():
        if r["needed"]:
            made.append((job, len(r["needed"]), tuple(sorted(r["needed"] - set(r["last"]))) or None))
    return made


def usual_spans(data: Tables, as_of: date) -> Rows:
    made, seen = [], runs_seen(data, date.max)
    released = [r["job"] for r in release_rows(data, as_of=as_of, usual=0.6, min_cases=2).values()]
    for model, procedure in {(j["model"], j["procedure"]) for j in released}:
        kin = [j for j in released if (j["model"], j["procedure"]) == (model, procedure)]
        for test in {test for _, test in seen}:
            had = [j["closed_on"] for j in kin if first_run(seen, j["job_id"], test)]
            span = [j for j in kin if had and min(had) <= j["closed_on"] <= max(had)]
            if len(span) >= 2 and len(had) >= 0.6 * len(span):
                made.append((model, procedure, test, min(had), max(had)))
    return made


def kinds_of_work(data: Tables) -> Rows:
    kinds = sorted({tuple(known(j[n]) for n in ("site", "model", "procedure", "billing")) for j in data["jobs"]})
    return [(*kind, number + 1) for number, kind in enumerate(kinds)] + [("unknown",) * 4 + (0,)]


def job_kinds(data: Tables) -> Rows:
    numbers = {row[:4]: row[4] for row in kinds_of_work(data) if row[4]}
    return [
        (
            j["job_id"], j["technician"], j["opened_on"] if j["closed_on"] is None else j["closed_on"],
            numbers[tuple(known(j[n]) for n in ("site", "model", "procedure", "billing"))],
        )
        for j in data["jobs"]
    ]


def checks(data: Tables, job: str) -> list[str]:
    own = [s for s in data["steps"] if s["job_id"] == job and s["attempt"] == 1]
    return [s["outcome"] for s in own if s["outcome"] in ("pass", "fail")]


def checked_steps(data: Tables) -> Rows:
    looked = {job: checks(data, job) for job in {s["job_id"] for s in data["steps"]}}
    return [(job, own.count("fail")) for job, own in looked.items() if own]


def clean_checks(data: Tables) -> Rows:
    made = []
    for job in {row["job_id"] for table in ("steps", "diagnostics") for row in data[table]}:
        own = checks(data, job)
        own += [r["outcome"] for r in data["diagnostics"] if r["job_id"] == job and r["run"] == 1]
        made += [(job, all(outcome == "pass" for outcome in own))] if own else []
    return made


def index_jobs(data: Tables, as_of: date) -> Rows:
    made = []
    for job, _, gap, kind in links(data).values():
        if job["disposition"] == "repaired" and job["closed_on"] <= as_of:
            ripe = job["closed_on"] + timedelta(days=30) <= as_of
            made.append((job["job_id"], gap, kind, ripe, ripe and gap is not None and gap <= 30))
    return made


def matured_jobs(data: Tables, as_of: date) -> Rows:
    return [row for row in index_jobs(data, as_of) if row[3]]


def comeback_jobs(data: Tables, as_of: date) -> Rows:
    made = []
    back = {job: link[1] for job, link in links(data).items()}
    for job, _, kind, _, returned in matured_jobs(data, as_of):
        if returned:
            found = back[job]["found"] if kind in ("repeat", "workmanship", "new_fault") else None
            made.append((job, kind, back[job]["complaint"], back[job]["found"], found))
    return made


def followed_jobs(data: Tables, as_of: date) -> Rows:
    made = []
    for job, gap, kind, _ in seen_jobs(data, as_of):
        days, outcome = end_of_follow_up(data, job, gap, kind, as_of)
        ended = {"retired": "retired", "followed": "in service"}.get(outcome, "returned")
        until = None if ended == "in service" else job["closed_on"] + timedelta(days=days)
        made.append((job["job_id"], ended, until, days, outcome))
    return made


def followed_upto(data: Tables, as_of: date) -> Rows:
    return [
        (job, days, outcome) if days <= 20 else (job, 21, "followed")
        for job, _, _, days, outcome in followed_jobs(data, as_of)
    ]


def followed_counts(data: Tables, as_of: date) -> Rows:
    """A row a job: the counts, added up, say the same."""
    jobs = {j["job_id"]: j for j in data["jobs"]}
    return [
        (jobs[job]["closed_on"], *(known(jobs[job][n]) for n in JOB_NAMES), *rest)
        for job, *rest in followed_jobs(data, as_of)
    ]


def unit_histories(data: Tables, as_of: date) -> Rows:
    made = []
    for unit in {job["unit_id"] for job, *_ in seen_jobs(data, as_of)}:
        own = [(job, gap) for job, gap, *_ in seen_jobs(data, as_of) if job["unit_id"] == unit]
        first = min((job for job, _ in own), key=lambda j: (j["closed_on"], j["job_id"]))
        start = first["closed_on"]
        returns = [job["closed_on"] + timedelta(days=gap) for job, gap in own if gap is not None]
        gone = retired_on(data, unit, as_of)
        stays = gone is None or gone < max([*returns, *(job["closed_on"] for job, _ in own)])
        age = min(((as_of if stays else gone) - start).days, 60)
        ages = tuple(sorted((day - start).days for day in returns if (day - start).days <= age))
        made.append((unit, *(known(first[n]) for n in JOB_NAMES), start, age, ages))
    return made


def failure_marks(data: Tables, as_of: date) -> Rows:
    fails = [s for s in data["steps"] if s["outcome"] == "fail"]
    made = {(s["job_id"], "step", s["step"]) for s in fails}
    made |= {(s["job_id"], "fault", s["fault"]) for s in fails if s.get("fault") is not None}
    runs = [r for r in data["diagnostics"] if r["run"] == 1 and r["outcome"] == "fail"]
    made |= {(r["job_id"], "test", r["test"]) for r in runs}
    for job, kind, _, found, _ in comeback_jobs(data, as_of):
        made.add((job, "found", "nothing" if kind == "no_fault_found" else found))
    return [(*mark, f"{mark[1]}\x1e{known(mark[2])}") for mark in made]


def failure_signatures(data: Tables, as_of: date) -> Rows:
    blind = {j["job_id"] for j in data["jobs"] if j["site"] == "Birch"}
    marks: dict[str, list[str]] = {}
    for job, kind, _, mark in failure_marks(data, as_of):
        if kind != "found" or job not in blind:
            marks.setdefault(job, []).append(mark)
    return [(job, "\x1f".join(sorted(own))) for job, own in marks.items()]


PLAIN: dict[str, tuple[str, Callable[[Tables], Rows]]] = {
    "declared_steps": ("procedure, step, phase, opportunities", declared_steps),
    "step_subsystems": ("procedure, step, subsystem", step_subsystems),
    "procedure_plan": ("procedure, place, step, counts, aligns, isolates, reconnects", procedure_plan),
    "battery_order": ("procedure, kind, step, milestone, act, act_phase", battery_order),
    "order_rules": ("procedure, kind, step, milestone, act, way", order_rules),
    "connector_ends": ("procedure, step, phase, subsystem, releases, reseats", connector_ends),
    "marked_attempts": ("job_id, step_seq, attempt, step, reworked, up_to_failure", marked_attempts),
    "fitted_lots": ("job_id, part_no, lot", fitted_lots),
    "attempts_of_jobs": (
        "job_id, step_seq, attempt, outcome, technician, day, site, model, procedure, billing, step",
        attempts_of_jobs,
    ),
    "kinds_of_work": ("site, model, procedure, billing, kind", kinds_of_work),
    "job_kinds": ("job_id, technician, day, kind", job_kinds),
    "checked_steps": ("job_id, failed", checked_steps),
    "clean_checks": ("job_id, clean", clean_checks),
}
"""Views: the columns compared, and the row loop."""
FIRST_CHECKS = "job_id, technician, day, site, model, procedure, billing, test, failed"
OF_A_DAY: dict[str, tuple[str, str, Callable[[Tables, date], Rows]]] = {
    "breaches_by_rows": ("$day, null", "job_id, kind, step", breaches_by_rows),
    "breaches_by_rows of few": ("$day, $day", "job_id, kind, step", partial(breaches_by_rows, later=True)),
    "jobs_cut_off": (
        "$day", "job_id, site, model, procedure, job_technician, billing, closed_on, judged, first_bench, last_bench",
        jobs_cut_off,
    ),
    "breaches_cut_off": (
        "$day",
        "job_id, kind, step, first_of_kind, first_of_step, first_of_job, site, first_bench, last_bench",
        breaches_cut_off,
    ),
    "index_turns": ("$day, 30, 'repaired'", "job_id, technician, bench, done_on, matured, returned", index_turns),
    "attempts_until": ("$day", PLAIN["attempts_of_jobs"][0] + ", phase, opportunities", attempts_until),
    "runs_until": ("$day", "job_id, test, run, outcome", runs_until),
    "runs_of_jobs": ("$day", f"job_id, test, run, outcome, {', '.join(JOB_NAMES)}", runs_of_jobs),
    "first_checks": ("$day, 'steps'", FIRST_CHECKS, first_checks_of("steps")),
    "first_checks of runs": ("$day, 'diagnostics'", FIRST_CHECKS, first_checks_of("diagnostics")),
    "first_runs": ("$day", "job_id, test, run, outcome", first_runs),
    "failed_first_runs": ("$day", "job_id, test, run, run_at", failed_first_runs),
    "unpassed_tests": ("$day", "job_id, test, run, outcome, run_at", unpassed_tests),
    "work_ended": ("$day", "job_id, worked_until", work_ended),
    "outdated_tests": ("$day", "job_id, test, run_at", outdated_tests),
    "released_jobs": ("$day, 'repaired'", "job_id", released_jobs),
    "usual_tests": ("$day, 'repaired', 2, 0.6", "job_id, needed, list_sort(missing)", usual_tests),
    "usual_spans": ("$day, 'repaired', 2, 0.6", "of_model, of_procedure, test, first_on, last_on", usual_spans),
    "index_jobs": ("$day, 30, 'repaired'", "job_id, elapsed_days, class, matured, returned", index_jobs),
    "matured_jobs": ("$day, 30, 'repaired'", "job_id, elapsed_days, class, matured, returned", matured_jobs),
    "comeback_jobs": (
        "$day, 30, 'repaired'", "job_id, class, return_complaint, return_found, fault_found", comeback_jobs,
    ),
    "followed_jobs": ("$day, 'repaired'", "job_id, ended, ended_on, followed_days, outcome", followed_jobs),
    "followed_upto": ("$day, 20, 'repaired'", "job_id, day, until_then", followed_upto),
    "unit_histories": (
        "$day, 60, 'repaired'", f"unit_id, {', '.join(JOB_NAMES)}, first_on, end_day, return_days", unit_histories,
    ),
    "failure_marks": ("$day, 30", "job_id, kind, value, mark", failure_marks),
    "failure_signatures": ("$day, 30, ['Birch']", "job_id, pattern", failure_signatures),
    "followed_counts": (
        "$day, 'repaired'", f"closed_on, {', '.join(JOB_NAMES)}, ended, ended_on, followed_days, outcome",
        followed_counts,
    ),
}
"""Table macros that look from a day, by their first word: their arguments, the columns compared, and the row loop."""
