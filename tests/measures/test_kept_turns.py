"""What a load keeps of the step log, turns of work and breaches, against the rows of the log."""

from collections import Counter
from datetime import date
from typing import Any

from hypothesis import HealthCheck, given, settings

from tests.depots import depot_of
from tests.examples import examples
from tests.measures.by_hand_concepts import breaches_by_rows, declared_steps, fitted_lots, marks_of, turns
from tests.measures.test_concepts import depots

SLOW = settings(
    max_examples=examples(15), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
EVER = date(9999, 12, 31)


@SLOW
@given(data=depots())
def test_turns_and_what_was_logged_in_them(data: dict[str, Any]) -> None:
    """Every attempt stands in its turn with its marks; turns of one job are numbered; each tells of the whole job."""
    jobs = {j["job_id"]: j for j in data["jobs"]}
    plan = {(p, step): rest for p, step, *rest in declared_steps(data)}
    expected: Counter[tuple[Any, ...]] = Counter()
    for (job, who, bench, day), log in turns(data).items():
        of_job = jobs.get(job, {})
        technician = who if who is not None else of_job.get("technician")
        for s in log:
            declared = plan.get((of_job.get("procedure"), s["step"]), [None, None])
            marks = (s["step"], *declared, s["tool"], s["outcome"], s["attempt"], *marks_of(s, data))
            expected[job, technician, bench, day, *marks] += 1
    with depot_of(data) as depot:
        rows = depot.query(
            "select job_id, technician, bench, done_on, step, phase, opportunities, tool, outcome, attempt, reworked, "
            "up_to_failure, attempts from job_turns join record_steps using (record)"
        ).rows()
        kept = depot.query("select * from job_turns").to_dicts()
        counted = depot.query("select count(*) from record_steps").item()
        distinct = depot.query("select count(*) from (select distinct * exclude attempts from record_steps)").item()
    found: Counter[tuple[Any, ...]] = Counter()
    for *key, attempts in rows:
        found[tuple(key)] += attempts
    assert found == expected
    assert counted == distinct
    assert {t["record"] is None for t in kept if t["job_id"] not in {s["job_id"] for s in data["steps"]}} <= {True}
    by_job: dict[str, list[dict[str, Any]]] = {}
    for turn in kept:
        by_job.setdefault(turn["job_id"], []).append(turn)
    assert set(by_job) == {*jobs, *(s["job_id"] for s in data["steps"])}
    for job, own in by_job.items():
        of_job = jobs.get(job, {})
        log = [s for s in data["steps"] if s["job_id"] == job]
        benches = sorted(s["bench"] for s in log if s["bench"] is not None)
        lots = sorted((part, lot) for j, part, lot in fitted_lots(data) if j == job and of_job)
        assert sorted(t["turn"] for t in own) == list(range(1, len(own) + 1))
        for t in own:
            assert t["turns"] == len(own)
            assert t["settled_on"] == max((s["done_on"] for s in log if s["done_on"] is not None), default=None)
            assert t["judged"] == any((of_job.get("procedure"), s["step"]) in plan for s in log)
            told = (benches[0], benches[-1]) if benches and t["judged"] else (None, None)
            assert (t["first_bench"], t["last_bench"]) == told
            assert t["lots"] == ("\x1f".join("\x1e".join(lot) for lot in lots) or None)
            assert t["day"] == (t["done_on"] or of_job.get("closed_on") or of_job.get("opened_on"))
            for name in ("site", "model", "procedure", "billing", "disposition", "closed_on"):
                assert t[name] == of_job.get(name), name
            assert t["job_technician"] == of_job.get("technician")


@SLOW
@given(data=depots())
def test_breaches_and_which_of_them_stands_for_its_job(data: dict[str, Any]) -> None:
    expected = breaches_by_rows(data, EVER)
    averaged = [b for b in expected if b[1] not in ("paired", "isolated_late", "reconnected_early")]
    with depot_of(data) as depot:
        rows = depot.query("select * from job_breaches").to_dicts()
    assert Counter((r["job_id"], r["kind"], r["step"]) for r in rows) == Counter(expected)
    for flag, told, every in (
        ("first_of_kind", lambda r: (r["job_id"], r["kind"]), {(j, k) for j, k, _ in expected}),
        ("first_of_step", lambda r: (r["job_id"], r["step"]), {(j, s) for j, _, s in averaged}),
        ("first_of_job", lambda r: r["job_id"], {j for j, _, _ in averaged}),
    ):
        assert Counter(told(r) for r in rows if r[flag]) == Counter(every), flag
