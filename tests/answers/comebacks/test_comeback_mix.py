"""What come-backs are made up of: against a row loop, the test as scipy makes it, and what is said of it."""

from collections import Counter
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats as reference

import rqa
from rqa.errors import RequestError
from tests.depots import depot_of
from tests.measures import by_hand
from tests.measures.small_depots import tables
from tests.measures.test_against_rows import SLOW
from tests.sample_store import SAMPLE, fresh_store


@SLOW
@given(data=tables(), by=st.sampled_from(("model", "site", "technician")), window=st.sampled_from((5, 30, 90)))
def test_the_counts_are_those_of_the_rows(data: dict[str, Any], by: str, window: int) -> None:
    with depot_of(data, None) as opened:
        day = opened.as_of.date()
        r = opened.returns.mix(window, made_of="complaint", by=by)
    expected: Counter[Any] = Counter()
    for job, back, gap, _ in by_hand.links(data).values():
        matured = (day - job["closed_on"]).days >= window and job["closed_on"] <= day
        if back is not None and gap is not None and gap <= window and matured and job["disposition"] == "repaired":
            expected[by_hand.known(job[by]), by_hand.known(back["complaint"])] += 1
    found = {(row[by], row["complaint"]): row["returned"] for row in r.table.iter_rows(named=True)}
    assert {key: n for key, n in found.items() if n} == dict(expected)
    assert len(found) == len({k for k, _ in expected}) * len({k for _, k in expected})


def test_the_table_is_tested_as_scipy_does() -> None:
    fresh_store()
    with rqa.open(SAMPLE) as depot:
        r = depot.returns.mix(365, made_of="class", by="model", months=("2025-01", "2025-06"))
        listed = r.jobs(model="Marl-8", **{"class": "workmanship"})
        same = depot.returns.mix(made_of="complaint", by="site", where={"model": "Marl-8"})
        few = depot.returns.mix(made_of="complaint", by="site", months="2026-03")
        for how, said in (({"made_of": "fault"}, "made_of is one of"), ({"by": "step"}, "there is no grouping")):
            with pytest.raises(RequestError, match=f"comeback_mix: {said}"):
                depot.returns.mix(**how)  # type: ignore[arg-type]
    seen = r.table["returned"].to_numpy().reshape(-1, r.table["class"].n_unique())
    theirs = reference.chi2_contingency(seen, correction=False)
    assert r.statistic == pytest.approx(theirs.statistic)
    assert r.table["expected"].to_numpy() == pytest.approx(theirs.expected_freq.ravel(), abs=1e-6)
    cell = next(x for x in r.table.iter_rows(named=True) if x["model"] == "Marl-8" and x["class"] == "workmanship")
    assert listed.table.height == cell["returned"]
    assert same.p_value is not None
    verdicts = set(same.table["verdict"])
    assert (same.p_value <= 0.05) == any("The mix differs" in note for note in same.notes)
    assert same.p_value <= 0.05 or verdicts == {"no difference shown"}
    assert few.table.height == 0 or np.isfinite(few.table["share"].drop_nulls().to_numpy()).all()
