"""What jobs did, what happened at their steps and what came after, against a slow row loop."""

from collections import Counter
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.answers.steps.exposure import ATTEMPTS
from rqa.measures.run import counts
from tests.depots import depot_of
from tests.examples import examples
from tests.measures.small_depots import SUBSYSTEMS, maybe, tables
from tests.measures.steps import by_hand_steps
from tests.measures.yields.test_work_against_rows import as_dict, as_ofs, groups, whole

SLOW = settings(
    max_examples=examples(6), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
JOB = ("month", "site", "model", "procedure", "technician", "billing")


@st.composite
def fitted(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """A small depot with parts in the jobs, tests that cover subsystems, and chances to go wrong."""
    made = draw(tables())
    made["tests"] = [{"test": t, "subsystem": draw(maybe(SUBSYSTEMS))} for t in ("charge", "touch")]
    made["parts"] = [
        {"job_id": f"J{draw(st.integers(0, 9))}", "line": line, "part_no": draw(maybe(("P1", "P2"))),
         "lot": draw(maybe((None, "L1", "L2")))}
        for line in range(draw(st.integers(0, 5)))
    ]
    for step in made["procedures"]:
        step["opportunities"] = draw(maybe((1, 2, 5)))
    return made


def causes_met(written: str, causes: list[tuple[str, str]]) -> frozenset[tuple[str, str]]:
    words = {int(n): int(bits) for n, bits in (word.split(":") for word in written.split(" "))}
    return frozenset(c for i, c in enumerate(causes) if words.get(i // 60, 0) >> (i % 60) & 1)


@SLOW
@given(data=fitted(), as_of=as_ofs, by=groups(*JOB), covariate=maybe(("", "bench", "tool")), filler=maybe((0, 58, 130)))
def test_what_jobs_did_and_came_back_for(
    data: dict[str, Any], as_of: Any, by: tuple[str, ...], covariate: str, filler: int
) -> None:
    """`filler` causes that no job met push the others across the words of the record."""
    classes, window = ["repeat", "workmanship"], 30
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        listed = counts(depot._store, "attribution_causes", values={"covariate": covariate}).rows()
        causes = [*listed[:1], *((f"none {i}", "") for i in range(filler)), *listed[1:]]
        found = counts(
            depot._store, "attribution", by=by,
            values={
                "window": window, "as_of": day, "disposition": "repaired", "classes": classes, "covariate": covariate,
                "steps": [s for s, _ in causes], "variants": [v for _, v in causes],
            },
        )
    n = len(by)
    told = Counter(
        {(*r[:n], r[n], causes_met(r[n + 1], causes), r[n + 2], r[n + 3], r[n + 4]): r[n + 5] for r in found.rows()}
    )
    assert told == by_hand_steps.patterns(data, by, window, day, classes, covariate)


@SLOW
@given(data=fitted(), as_of=as_ofs, by=groups(*JOB, "step", "bench", "tool"))
def test_come_backs_after_what_happened_at_a_step(data: dict[str, Any], as_of: Any, by: tuple[str, ...]) -> None:
    jobs = tuple(b for b in by if b in JOB)
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        asked = {"window": 30, "as_of": day, "disposition": "repaired"}
        steps = counts(depot._store, "step_comebacks", by=by, values=asked)
        benches = counts(depot._store, "step_comebacks_bench", by=jobs, values=asked)
    assert as_dict(steps, len(by) + 3) == by_hand_steps.step_comebacks(data, by, 30, day)
    assert as_dict(benches, len(jobs) + 2) == by_hand_steps.bench_comebacks(data, jobs, 30, day)


@SLOW
@given(data=fitted(), as_of=as_ofs, by=groups(*JOB, "step", "bench", "tool", "phase"))
def test_how_often_steps_were_done(data: dict[str, Any], as_of: Any, by: tuple[str, ...]) -> None:
    with depot_of(data, as_of) as depot:
        day = depot.as_of.date()
        plain = counts(depot._store, "step_exposure", by=by, values={"as_of": day, **ATTEMPTS})
        by_part = {
            extra: counts(depot._store, "step_exposure", by=(*by[:2], *extra), values={"as_of": day, **ATTEMPTS})
            for extra in (("part_no",), ("lot",), ("part_no", "lot"))
        }
    assert as_dict(plain, len(by)) == whole(by_hand_steps.exposure(data, by, day), by, (0,) * 9)
    for extra, found in by_part.items():
        keys = (*by[:2], *extra)
        assert as_dict(found, len(keys)) == by_hand_steps.exposure(data, keys, day)


def test_a_record_of_many_words_is_read_back() -> None:
    from rqa.answers.steps.cause_patterns import _bits

    flags = _bits(["0:5 2:1", "1:576460752303423488", "0:1"], 125)
    assert [list(row.nonzero()[0]) for row in flags] == [[0, 2, 120], [119], [0]]
    with pytest.raises(ValueError):
        _bits(["no record"], 3)
