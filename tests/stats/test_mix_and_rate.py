"""A difference taken apart into mix and rate: against the identities, statsmodels' Oaxaca-Blinder, and simulation."""

import itertools
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.oaxaca import OaxacaBlinder

from rqa.stats import difference_interval, mix_and_rate

BEFORE = {"events": [4, 18, 9], "cases": [120, 100, 60]}
AFTER = {"events": [6, 30, 2], "cases": [150, 110, 20]}


def asked(before: Any = BEFORE, after: Any = AFTER, **how: Any) -> Any:
    return mix_and_rate(
        events1=before["events"], cases1=before["cases"], events2=after["events"], cases2=after["cases"], **how
    )


def by_loops(before: Any, after: Any) -> dict[str, float]:
    """Kitagawa's parts from their definition, group by group."""
    n1, n2 = sum(before["cases"]), sum(after["cases"])
    rate = mix = both = old_rate = old_mix = 0.0
    for x1, c1, x2, c2 in zip(before["events"], before["cases"], after["events"], after["cases"], strict=True):
        w1, w2, r1, r2 = c1 / n1, c2 / n2, x1 / c1, x2 / c2
        rate += (w1 + w2) / 2 * (r2 - r1)
        mix += (r1 + r2) / 2 * (w2 - w1)
        old_rate += w1 * (r2 - r1)
        old_mix += r1 * (w2 - w1)
        both += (r2 - r1) * (w2 - w1)
    return {"rate": rate, "mix": mix, "old_rate": old_rate, "old_mix": old_mix, "both": both}


def test_the_parts_are_those_of_the_definition() -> None:
    expected = by_loops(BEFORE, AFTER)
    r, apart = asked(), asked(interaction="apart")
    assert r.rate_total == pytest.approx(expected["rate"])
    assert r.mix_total == pytest.approx(expected["mix"])
    assert r.interaction_total == 0.0
    assert apart.rate_total == pytest.approx(expected["old_rate"])
    assert apart.mix_total == pytest.approx(expected["old_mix"])
    assert apart.interaction_total == pytest.approx(expected["both"])
    assert r.difference == pytest.approx(38 / 280 - 31 / 280)


def test_the_parts_are_those_of_statsmodels() -> None:
    """Kitagawa's parts are Oaxaca and Blinder's of a regression on the groups; statsmodels 0.14 works those."""
    rows = [
        (period, group, place < x)
        for period, counts in enumerate((BEFORE, AFTER))
        for group, (x, n) in enumerate(zip(counts["events"], counts["cases"], strict=True))
        for place in range(n)
    ]
    data = pd.DataFrame(rows, columns=["after", "group", "back"]).astype(float)
    data["second"], data["third"] = (data["group"] == 1) * 1.0, (data["group"] == 2) * 1.0
    # The larger mean is taken as the first: the second period.
    model = OaxacaBlinder(data["back"], data[["second", "third", "after"]], "after", hasconst=False)
    endowments, coefficients, interaction, gap = model.three_fold().params
    apart = asked(interaction="apart")
    assert gap == pytest.approx(float(apart.difference))
    assert endowments == pytest.approx(float(apart.mix_total))
    assert coefficients == pytest.approx(float(apart.rate_total))
    assert interaction == pytest.approx(float(apart.interaction_total))
    unexplained, explained, _ = model.two_fold(two_fold_type="self_submitted", submitted_weight=0.5).params
    shared = asked()
    assert explained == pytest.approx(float(shared.mix_total))
    assert unexplained == pytest.approx(float(shared.rate_total))


def test_one_group_has_newcombe_s_limits_and_all_in_the_rate() -> None:
    r = asked({"events": [9], "cases": [200]}, {"events": [21], "cases": [180]})
    apart = difference_interval(successes1=21, trials1=180, successes2=9, trials2=200)
    assert r.mix_total == r.mix_total_low == r.mix_total_high == 0.0
    for low, high in ((r.difference_low, r.difference_high), (r.rate_total_low, r.rate_total_high)):
        assert (float(low), float(high)) == pytest.approx((float(apart.low), float(apart.high)))


def test_the_same_mix_has_no_mix_part_and_the_same_rates_no_rate_part() -> None:
    same_mix = asked({"events": [2, 30], "cases": [100, 50]}, {"events": [20, 10], "cases": [200, 100]})
    assert same_mix.mix_total == pytest.approx(0.0, abs=1e-15)
    same_rates = asked({"events": [4, 20], "cases": [100, 100]}, {"events": [8, 30], "cases": [200, 150]})
    assert same_rates.rate_total == pytest.approx(0.0, abs=1e-15)
    assert np.all(same_rates.mix < 0)  # the better group grew, the worse one shrank


def test_a_group_of_one_period_brings_mix_alone() -> None:
    r = asked({"events": [4, 0], "cases": [100, 0]}, {"events": [4, 9], "cases": [100, 50]})
    assert np.isnan(r.change[1])
    assert np.isnan(r.rate1[1])
    assert r.rate.tolist() == [0.0, 0.0]
    assert r.mix_total == pytest.approx(13 / 150 - 4 / 100)
    nothing = asked({"events": [0], "cases": [0]}, {"events": [4], "cases": [100]})
    assert np.isnan(nothing.difference)
    assert np.isnan(nothing.rate_total)


@given(st.lists(st.tuples(*[st.integers(0, 30)] * 4), min_size=1, max_size=6), st.sampled_from(("shared", "apart")))
def test_the_parts_add_up(groups: list[tuple[int, int, int, int]], interaction: str) -> None:
    x1, more1, x2, more2 = (np.array(each) for each in zip(*groups, strict=True))
    r = mix_and_rate(events1=x1, cases1=x1 + more1, events2=x2, cases2=x2 + more2, interaction=interaction)  # type: ignore[arg-type]
    total = r.rate_total + r.mix_total + r.interaction_total
    assert np.isnan(r.difference) or total == pytest.approx(float(r.difference), abs=1e-12)
    for name in ("difference", "rate_total", "mix_total", "rate", "mix", "interaction", "change"):
        low, value, high = (getattr(r, name + end) for end in ("_low", "", "_high"))
        assert np.all(np.isnan(value) | ((low <= value) & (value <= high)))
    for name in ("rate", "mix", "interaction"):
        total = float(np.nan_to_num(getattr(r, f"{name}_total")))
        assert np.nansum(getattr(r, name)) == pytest.approx(total, abs=1e-12)


def test_bunched_cases_have_wider_limits() -> None:
    """Jobs of ten checks each: the mix of the checks varies as that of a tenth as many."""
    counts = {"events1": [400, 900], "cases1": [5000, 6000], "events2": [500, 700], "cases2": [5000, 6000]}
    alone = mix_and_rate(**counts)  # type: ignore[arg-type]
    bunched = mix_and_rate(
        **counts, squares1=[50_000, 60_000], squares2=[50_000, 60_000], effect1=1.5, effect2=1.5  # type: ignore[arg-type]
    )
    one, other = (r.mix_total_high - r.mix_total_low for r in (alone, bunched))
    assert other / one == pytest.approx(np.sqrt(10), rel=1e-9)
    assert bunched.rate_total_high - bunched.rate_total_low > alone.rate_total_high - alone.rate_total_low


@pytest.mark.parametrize("interaction", ["shared", pytest.param("apart", marks=pytest.mark.slow)])
def test_limits_hold_the_truth(interaction: str) -> None:
    """2,000 pairs of periods drawn as jobs are: 95 % limits hold each true part in 94 to 98.5 of 100."""
    draw = np.random.default_rng(7)
    w1, w2, r1, r2 = np.array([0.6, 0.3, 0.1]), np.array([0.4, 0.4, 0.2]), np.array([0.03, 0.08, 0.2]), np.array(
        [0.04, 0.07, 0.15]
    )
    half = 0.5 if interaction == "shared" else 0.0
    truth = {
        "rate_total": ((w1 + half * (w2 - w1)) * (r2 - r1)).sum(),
        "mix_total": ((r1 + half * (r2 - r1)) * (w2 - w1)).sum(), "difference": (w2 * r2 - w1 * r1).sum(),
    }
    n1, n2 = draw.multinomial(400, w1, size=2000), draw.multinomial(500, w2, size=2000)
    r = mix_and_rate(
        events1=draw.binomial(n1, r1), cases1=n1, events2=draw.binomial(n2, r2), cases2=n2, interaction=interaction  # type: ignore[arg-type]
    )
    for name, true in truth.items():
        held = ((getattr(r, f"{name}_low") <= true) & (true <= getattr(r, f"{name}_high"))).mean()
        assert 0.94 <= held <= 0.985, (name, held)


def test_what_is_refused() -> None:
    for how, said in (
        ({"interaction": "half"}, "interaction must be one of shared, apart"), ({"effect1": 0.5}, "effect1"),
        ({"squares2": [1, 2, 3]}, "squares2"), ({"level": 2}, "level"),
    ):
        with pytest.raises(ValueError, match=said):
            asked(**how)  # type: ignore[arg-type]
    for before, after in itertools.permutations((BEFORE, {"events": [1], "cases": [2]})):
        with pytest.raises(ValueError, match="must be of one shape"):
            asked(before, after)
