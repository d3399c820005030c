"""Limits where several checks of a job are added up: the job is what is sampled, and the limits hold the truth."""

import numpy as np
import pytest
from scipy import stats

from rqa.stats import clustered_interval, defect_rate, product_interval, proportion_interval
from tests.answers.compare.test_checks_of_a_job import clustered, depot_checked
from tests.depots import depot_of


def test_checks_that_pass_together_have_the_limits_of_jobs():
    """All five checks of a job fail or none do: the limits are those of 200 jobs, not of 1,000 checks."""
    jobs = np.arange(400)
    failed = np.repeat(jobs[:, np.newaxis] % 10 == 0, 5, axis=1)
    with depot_checked(failed, jobs // 200) as depot:
        by_site = depot.first_pass_yield(by=("site",))
        by_step = depot.first_pass_yield(by=("step", "site"))
        rework, defects = depot.yields.rework(by=("site",)), depot.yields.defects(by=("site",))
        rolled = depot.yields.rolled(by=("procedure", "site"))
    # n / (n - 1) jobs of a site, and Student's quantile of the 398 degrees that the two sites leave.
    effect = 5 * 200 / 199 * (stats.t.ppf(0.975, 398) / stats.norm.ppf(0.975)) ** 2
    plain = proportion_interval(successes=900 // 5, trials=1000 // 5)
    assert by_site.settings["by_job"] == pytest.approx(effect, abs=0.001)
    expected = proportion_interval(successes=900, trials=1000, design_effect=effect)
    assert by_site.table["low"].to_list() == pytest.approx([float(expected.low)] * 2, abs=1e-6)
    assert by_site.table["high"].to_list() == pytest.approx([float(expected.high)] * 2, abs=1e-6)
    assert by_site.table["low"][0] == pytest.approx(float(plain.low), abs=2e-3)
    assert "up to 5.0" in by_site.notes[-1]
    assert "by_job" not in by_step.settings
    assert by_step.table["low"].to_list() == pytest.approx([float(plain.low)] * 10, abs=1e-6)
    assert rework.settings["by_job"] == by_site.settings["by_job"]
    assert "The factor is that of failed first checks" in " ".join(rework.notes)
    # No step was done again, so there is nothing that varies; the upper limit is that of fewer steps.
    none = proportion_interval(successes=0, trials=1000, design_effect=effect)
    assert rework.table["high"][0] == pytest.approx(float(none.high), abs=1e-6)
    dpu = defect_rate(defects=100, exposures=200, opportunities=5)
    assert defects.table["dpu_low"][0] == pytest.approx(0.5 * (float(dpu.dpu_low) / 0.5) ** effect**0.5, rel=1e-4)
    assert defects.table["dpu_high"][0] == pytest.approx(0.5 * (float(dpu.dpu_high) / 0.5) ** effect**0.5, rel=1e-4)
    product = product_interval(successes=[180] * 5, trials=[200] * 5, method="score", design_effect=effect)
    ends = (float(product.low), float(product.high))
    assert rolled.table.select("low", "high").row(0) == pytest.approx(ends, abs=1e-6)


def test_steps_of_a_job_that_are_done_again_together_have_the_limits_of_jobs():
    """One job in five is done again from end to end, and no first check failed: limits are those of 100 jobs."""
    names = [f"J{i:03d}" for i in range(100)]
    steps = [
        {"job_id": name, "step_seq": k + 1, "step": f"step {k}", "attempt": attempt, "outcome": "pass"}
        for i, name in enumerate(names) for k in range(3) for attempt in range(1, 3 if i % 5 == 0 else 2)
    ]
    with depot_of({"jobs": [{"job_id": name, "unit_id": name} for name in names], "steps": steps}) as depot:
        whole, by_step = depot.yields.rework(by=()), depot.yields.rework()
    # A job's three steps vary as one: three times as much, with n / (n - 1) jobs and Student's quantile of 99 degrees.
    effect = 3 * 100 / 99 * (stats.t.ppf(0.975, 99) / stats.norm.ppf(0.975)) ** 2
    expected = proportion_interval(successes=60, trials=300, design_effect=effect)
    assert whole.settings["by_job"] == pytest.approx(effect, abs=0.001)
    assert whole.table.select("low", "high").row(0) == pytest.approx(
        (float(expected.low), float(expected.high)), abs=1e-6
    )
    assert any("Steps of one job are done again together" in note for note in whole.notes)
    assert "by_job" not in by_step.settings


def test_filters_and_groupings_that_jobs_do_not_tell_have_the_effect_of_what_they_do():
    rng = np.random.default_rng(11)
    with depot_checked(clustered(rng, 600, 4), np.arange(600) % 2, hours=2) as depot:
        whole, shift = depot.first_pass_yield(by=()), depot.first_pass_yield(by=("shift",))
        one = depot.first_pass_yield(by=(), where={"step": "step 00"})
        month = depot.charts.month_against_before("first_pass_yield")
    assert whole.settings["by_job"] > 1.5
    assert shift.settings["by_job"] == whole.settings["by_job"]
    assert "by_job" not in one.settings
    assert month is not None
    limits = proportion_interval(successes=month.count, trials=month.size, design_effect=month.by_job)
    assert (month.low, month.high) == pytest.approx((float(limits.low), float(limits.high)), abs=1e-4)


@pytest.mark.slow
def test_limits_of_yields_hold_the_truth_as_often_as_they_say():
    """60 depots of 120 jobs with units that fail many checks: of plain limits some 80 in 100 hold the truth."""
    rng = np.random.default_rng(5)
    truth = 1.0 - (0.1 * 0.67 + 0.9 * 0.05)
    held, plain, whole = 0, 0, 0
    for _ in range(60):
        with depot_checked(clustered(rng, 120, 6), np.zeros(120, dtype=np.int64)) as depot:
            r = depot.first_pass_yield(by=()).table.row(0, named=True)
            product = depot.yields.rolled().table.row(0, named=True)
        single = proportion_interval(successes=r["passed"], trials=r["exposures"])
        held += r["low"] <= truth <= r["high"]
        plain += bool(single.low <= truth <= single.high)
        whole += product["low"] <= truth**6 <= product["high"]
    # Fewer than 51 of 60 come with a chance of 0.001 where each has 0.95.
    assert held >= 51
    assert whole >= 51
    assert plain < held


def test_a_design_effect_is_as_many_times_fewer_cases():
    """Rao and Scott 1992: events and cases over the effect, here with the clusters' own and the normal quantile."""
    x, n = np.array([4, 0, 3, 0, 0, 5, 1, 0]), np.array([5, 4, 6, 5, 3, 6, 4, 5])
    effect = float(clustered_interval(successes=x, trials=n).design_effect)
    r = proportion_interval(successes=x.sum(), trials=n.sum(), design_effect=effect)
    z2, size, share = stats.norm.ppf(0.975) ** 2, n.sum() / effect, x.sum() / n.sum()
    # The roots of (share - t)^2 = z^2 t (1 - t) / size.
    ends = np.roots([1 + z2 / size, -(2 * share + z2 / size), share**2])
    assert (float(r.low), float(r.high)) == pytest.approx((min(ends), max(ends)), abs=1e-12)
    for method in ("mover", "score"):
        one = product_interval(successes=[x.sum()], trials=[n.sum()], method=method, design_effect=effect)
        again = product_interval(successes=[x.sum()], trials=[n.sum()], method=method)
        assert one.low < again.low
        assert one.high > again.high
    score = product_interval(successes=[x.sum()], trials=[n.sum()], method="score", design_effect=effect)
    assert (float(score.low), float(score.high)) == pytest.approx((min(ends), max(ends)), abs=1e-9)
    for wrong, said in ((0.5, "at least 1"), ([1.0, 2.0], "of the counts' shape"), (np.nan, "missing")):
        with pytest.raises(ValueError, match=said):
            proportion_interval(successes=3, trials=9, design_effect=wrong)
