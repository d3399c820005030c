"""What is planted in the tests, the stations and the slips can be found in the sample, in the shares the truth states.

Counts are held against binomial limits at 99.9 %: with some twenty of them, a sound scenario passes 98 times of 100,
and the sample is one fixed draw.
"""

import json
from collections.abc import Iterator

import numpy as np
import polars as pl
import pytest
from scipy import stats

import rqa
from tests.sample_store import SAMPLE, fresh_store

TRUTH = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))
EFFECTS, SLIPS, REALISED = TRUTH["effects"], TRUTH["slips"], TRUTH["realised"]


@pytest.fixture(scope="module")
def depot() -> Iterator["rqa.Depot"]:
    fresh_store()
    with rqa.open(SAMPLE) as opened:
        yield opened


def limits(share: float, n: int) -> tuple[float, float]:
    """Counts between which 99.9 % of draws lie."""
    low, high = stats.binom.interval(0.999, n, share)
    return float(low), float(high)


RETESTS = """
    with first as (
        select job_id, test, run_at, lead(run_at) over w as again_at, outcome, lead(outcome) over w as again, run
        from diagnostics window w as (partition by job_id, test order by run))
    select test, count(*)::bigint as failed, (count(*) filter (again = 'pass' and not exists (
        select 1 from steps s where s.job_id = f.job_id and coalesce(s.ended_at, s.started_at) >= f.run_at
          and coalesce(s.started_at, s.ended_at) <= f.again_at)
    ))::bigint as passed_as_it_was
    from first f where run = 1 and outcome = 'fail' and again is not null group by test"""


def test_the_flaky_test_alone_passes_when_nothing_was_done(depot: "rqa.Depot") -> None:
    found = {r["test"]: r["passed_as_it_was"] / r["failed"] for r in depot.query(RETESTS).iter_rows(named=True)}
    flaky = found.pop(EFFECTS["flaky_test"]["test"])
    assert flaky > 0.65
    assert max(found.values()) < 0.35
    assert np.mean(list(found.values())) < 0.15


def test_the_flaky_test_fails_at_every_station_as_often_as_planned(depot: "rqa.Depot") -> None:
    rows = depot.query(
        """select station, count(*)::bigint as n, (count(*) filter (outcome = 'fail'))::bigint as failed
        from diagnostics where test = $test and run = 1 group by 1""",
        {"test": EFFECTS["flaky_test"]["test"]},
    )
    own = 0.026
    share = own + (1 - own) * EFFECTS["flaky_test"]["fails_for_no_reason"]
    outside = [r for r in rows.iter_rows() if not limits(share, r[1])[0] <= r[2] <= limits(share, r[1])[1]]
    assert rows.height == 3
    assert outside == []


def test_one_station_drifts_and_its_test_fails_no_more_for_it(depot: "rqa.Depot") -> None:
    drift = EFFECTS["drifting_station"]
    rows = depot.query(
        """select station, run_at::date >= $day as later, value, outcome
        from diagnostics where test = $test and run = 1 and value is not null""",
        {"test": drift["test"], "day": "2026-03-01"},
    )
    here = pl.col("station") == drift["station"]
    passed = pl.col("outcome") == "pass"

    def shift(which: pl.Expr) -> float:
        part = rows.filter(which & passed)
        return part.filter("later")["value"].mean() - part.filter(~pl.col("later"))["value"].mean()

    assert shift(here) > 0.05
    assert abs(shift(~here)) < 0.02
    last = rows.filter("later")
    failed = [[last.filter(w & ~passed).height, last.filter(w & passed).height] for w in (here, ~here)]
    assert stats.fisher_exact(failed).pvalue > 0.01


def test_no_test_covers_the_subsystem_in_which_many_come_backs_are_found(depot: "rqa.Depot") -> None:
    name = EFFECTS["uncovered_subsystem"]["subsystem"]
    covered = set(depot.query("select distinct subsystem from tests")["subsystem"])
    touched = set(depot.query("select distinct unnest(subsystems) as s from procedures")["s"])
    assert touched - covered == {name}
    found = depot.query(
        """select r.found, count(*)::bigint as n from links l join jobs r on r.job_id = l.return_job_id
        where l.elapsed_days <= 90 and r.found is not null group by 1"""
    )
    assert dict(found.iter_rows())[name] >= 10


PAIRED = """
    select (count(*) filter (part_no = 'MB-110'))::bigint as boards, (count(*) filter (part_no = 'SN-20'))::bigint as n
    from (select distinct job_id, part_no from parts)"""
PLACES = """
    select job_id, min(step_seq) filter (step = 'isolate battery') as isolated,
      min(step_seq) filter (starts_with(step, 'release ')) as released,
      min(step_seq) filter (step = 'count connectors') as counted,
      min(step_seq) filter (step = 'reconnect battery') as reconnected,
      max(ended_at) filter (step = 'inspect unit') as inspected, max(ended_at) as worked
    from steps where job_id in (select job_id from jobs where disposition = 'repaired') group by 1"""


def test_slips_are_as_many_as_the_truth_states(depot: "rqa.Depot") -> None:
    """Refused rows of the mess are few; of swapped steps hardly any is among them."""
    found = depot.query(
        f"""with places as ({PLACES}) select
        (count(*) filter (isolated > released))::bigint as battery_isolated_late,
        (count(*) filter (reconnected < counted))::bigint as battery_reconnected_early from places"""
    ).row(0, named=True)
    planned = {name: REALISED[name] for name in found}
    assert min(planned.values()) > 0
    assert all(planned[name] - 1 <= found[name] <= planned[name] for name in found)


def test_realised_slips_agree_with_their_shares() -> None:
    repaired = 0.85 * TRUTH["scenario"]["jobs"]
    names = ["battery_isolated_late", "battery_reconnected_early", "connectors_not_counted",
             "inspected_after_the_tests", "test_left_out", "released_failing", "released_aborted"]
    outside = [n for n in names if REALISED[n] > limits(SLIPS[n], round(repaired))[1]]
    assert outside == []
    assert all(REALISED[n] > 0 for n in SLIPS if n in REALISED)


def test_few_boards_lack_their_paired_part(depot: "rqa.Depot") -> None:
    row = depot.query(PAIRED).row(0, named=True)
    low, high = limits(SLIPS["paired_part_not_fitted"], row["boards"])
    assert max(low, 1) <= row["boards"] - row["n"] <= high


def test_the_training_has_its_action(depot: "rqa.Depot") -> None:
    scopes = depot.query("select scope from actions")["scope"].to_list()
    assert f"technician={EFFECTS['training_without_effect']['technician']}" in scopes


def test_the_gauge_study_is_crossed_and_one_station_reads_high(depot: "rqa.Depot") -> None:
    plan = EFFECTS["gauge_study"]
    rows = depot.query("select * from studies where study = $study", {"study": plan["study"]})
    cells = rows.group_by("unit", "appraiser").len()
    assert cells.height == plan["units"] * 3
    assert set(cells["len"]) == {plan["trials"]}
    means = dict(rows.group_by("appraiser").agg(pl.col("value").mean()).iter_rows())
    biased = means.pop(plan["biased_station"])
    # The standard error of a station's mean over 30 readings is 0.004.
    assert abs(biased - np.mean(list(means.values())) - plan["bias"]) < 0.02


def test_the_eye_study_is_crossed_and_one_person_is_often_wrong(depot: "rqa.Depot") -> None:
    plan = EFFECTS["eye_study"]
    rows = depot.query("select * from studies where study = $study", {"study": plan["study"]})
    assert rows.height == plan["units"] * plan["trials"] * len(plan["appraisers"])
    assert rows.group_by("unit").agg(pl.col("reference").n_unique())["reference"].to_list() == [1] * plan["units"]
    wrong = rows.group_by("appraiser").agg((pl.col("outcome") != pl.col("reference")).mean()).sort("outcome")
    assert wrong["appraiser"][-1] == plan["often_wrong_appraiser"]
