"""One ratio over strata: published data, another library, formulas by loop, exact limits, coverage, landmarks."""

import tomllib
from itertools import product
from math import comb
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.stats import chi2, fisher_exact
from scipy.stats.contingency import odds_ratio
from statsmodels.stats.contingency_tables import StratifiedTable

from rqa.stats import exact_common_odds, mantel_haenszel, order_reversals, relative_risk
from tests.examples import examples

PUBLISHED = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))
ADMISSIONS, TEA = PUBLISHED["admissions"], PUBLISHED["tea"]


def cells(least=0, most=30):
    row = st.tuples(st.integers(least, most), st.integers(least, most))
    return st.lists(st.tuples(row, row), min_size=1, max_size=5)


def test_admissions():
    """Results from memory, recomputed; the crude ratio says the opposite."""
    r = mantel_haenszel(ADMISSIONS["tables"])
    half = 0.5 * 10.0 ** -ADMISSIONS["ratio_decimals"]
    assert abs(r.estimate - ADMISSIONS["odds_ratio"]) <= half
    assert abs(r.low - ADMISSIONS["low"]) <= half
    assert abs(r.high - ADMISSIONS["high"]) <= half
    half = 0.5 * 10.0 ** -ADMISSIONS["test_decimals"]
    assert abs(r.chi2 - ADMISSIONS["chi2"]) <= half
    assert abs(r.chi2_corrected - ADMISSIONS["chi2_corrected"]) <= half
    assert abs(r.p_corrected - ADMISSIONS["p_corrected"]) <= half
    crude = mantel_haenszel([np.sum(ADMISSIONS["tables"], axis=0)])
    assert abs(crude.estimate - ADMISSIONS["crude_odds_ratio"]) <= 0.5e-4
    assert r.strata == 6


def test_admissions_are_a_reversal():
    """Men are refused less often overall, yet more often on like departments."""
    men, women = np.sum(ADMISSIONS["tables"], axis=0)
    r = order_reversals(raw=[men[1] / men.sum(), women[1] / women.sum()], adjusted=[1 / ADMISSIONS["odds_ratio"], 1.0])
    assert (r.higher_raw.tolist(), r.higher_adjusted.tolist()) == ([1], [0])


@settings(max_examples=examples(60))
@given(cells(least=1))
def test_statsmodels_agrees(tables):
    r = mantel_haenszel(tables)
    other = StratifiedTable(np.moveaxis(np.array(tables, dtype=float), 0, 2))
    assert float(r.estimate) == pytest.approx(other.oddsratio_pooled, rel=1e-9)
    assert (float(r.low), float(r.high)) == pytest.approx(other.oddsratio_pooled_confint(), rel=1e-9)
    plain, corrected = other.test_null_odds(), other.test_null_odds(correction=True)
    assert (float(r.chi2), float(r.p_value)) == pytest.approx((plain.statistic, plain.pvalue), rel=1e-9, abs=1e-12)
    gap = abs(sum(a - (a + b) * (a + c) / (a + b + c + d) for (a, b), (c, d) in tables))
    if gap > 0.5:  # the other library corrects a smaller gap to beyond 0 and squares it
        assert float(r.chi2_corrected) == pytest.approx(corrected.statistic, rel=1e-6, abs=1e-9)
    assert float(mantel_haenszel(tables, measure="risk").estimate) == pytest.approx(other.riskratio_pooled, rel=1e-9)
    if len(tables) > 1 and abs(float(r.estimate) - 1) > 1e-3:  # the other library divides by nothing at 1
        for adjust, found, p in ((False, r.breslow_day, r.breslow_day_p), (True, r.tarone, r.tarone_p)):
            same = other.test_equal_odds(adjust=adjust)
            # 1e-6: the other library's fitted counts come from a formula that loses digits near an odds ratio of 1.
            assert float(found) == pytest.approx(same.statistic, rel=1e-6, abs=1e-6)
            assert float(p) == pytest.approx(same.pvalue, rel=1e-6, abs=1e-6)


@settings(max_examples=examples(40))
@given(cells(least=1))
def test_homogeneity_by_search(tables):
    """Breslow and Day, Tarone: the fitted count of each table found by a root search, at an odds ratio of 1 too."""
    for counts in (tables, [((a, b), (a, b)) for (a, b), _ in tables]):
        r = mantel_haenszel(counts)
        statistic = gap = spread = 0.0
        for (a, b), (c, d) in counts:
            n1, n0, m = a + b, c + d, a + c

            def odd(e, n1=n1, n0=n0, m=m, w=float(r.estimate)):
                return e * (n0 - m + e) - w * (n1 - e) * (m - e)

            e = brentq(odd, max(0, m - n0), min(n1, m), xtol=1e-13, rtol=1e-14)
            v = 1 / (1 / e + 1 / (n1 - e) + 1 / (m - e) + 1 / (n0 - m + e))
            statistic, gap, spread = statistic + (a - e) ** 2 / v, gap + a - e, spread + v
        if len(counts) == 1:
            assert np.isnan(r.breslow_day)
            continue
        # 1e-8: both are near 0 where all tables agree.
        assert float(r.breslow_day) == pytest.approx(statistic, rel=1e-7, abs=1e-8)
        assert float(r.tarone) == pytest.approx(statistic - gap**2 / spread, rel=1e-7, abs=1e-8)
        assert float(r.tarone_p) == pytest.approx(chi2.sf(float(r.tarone), len(counts) - 1), rel=1e-9, abs=1e-9)


@given(cells(least=1))
def test_risk_limits_by_loop(tables):
    """Greenland and Robins 1985, table by table."""
    top = bottom = terms = 0.0
    for (a, b), (c, d) in tables:
        n = a + b + c + d
        top += a * (c + d) / n
        bottom += c * (a + b) / n
        terms += ((a + b) * (c + d) * (a + c) - a * c * n) / n**2
    reach = np.exp(1.959963984540054 * (terms / (top * bottom)) ** 0.5)
    r = mantel_haenszel(tables, measure="risk")
    assert (float(r.low), float(r.high)) == pytest.approx((top / bottom / reach, top / bottom * reach), rel=1e-9)


@given(cells(least=1))
def test_one_table_gives_the_crude_ratios(tables):
    (a, b), (c, d) = tables[0]
    assert float(mantel_haenszel(tables[:1]).estimate) == pytest.approx(a * d / (b * c), rel=1e-12)
    risk = mantel_haenszel(tables[:1], measure="risk")
    katz = relative_risk(exposed_events=a, exposed_total=a + b, unexposed_events=c, unexposed_total=c + d)
    ours = (float(risk.estimate), float(risk.low), float(risk.high))
    assert ours == pytest.approx((float(katz.estimate), float(katz.low), float(katz.high)), rel=1e-9)


def test_tea_by_chi_square():
    """With one table of N the test is Pearson's x (N - 1) / N."""
    r = mantel_haenszel([TEA["table"]])
    half = 0.5 * 10.0 ** -TEA["pearson_decimals"]
    assert abs(r.chi2 * 8 / 7 - TEA["pearson"]) <= half
    assert abs(r.chi2_corrected * 8 / 7 - TEA["pearson_corrected"]) <= half


def test_tea_exactly():
    r = exact_common_odds([TEA["table"]])
    assert abs(r.p_value - TEA["p_two_sided"]) <= 0.5 * 10.0 ** -TEA["p_decimals"]
    assert abs(r.p_value / 2 - TEA["p_one_sided"]) <= 0.5 * 10.0 ** -TEA["p_decimals"]
    half = 0.5 * 10.0 ** -TEA["odds_ratio_decimals"]
    assert abs(r.estimate - TEA["odds_ratio"]) <= half
    assert abs(r.low - TEA["odds_ratio_low"]) <= half
    assert abs(r.high - TEA["odds_ratio_high"]) <= half


@settings(max_examples=examples(40))
@given(cells(most=12))
def test_exact_odds_of_one_table_agree_with_scipy(tables):
    table = np.array(tables[0])
    if (table.sum(axis=0) == 0).any() or (table.sum(axis=1) == 0).any():
        return
    r, other = exact_common_odds(table), odds_ratio(table)
    assert r.estimate == pytest.approx(other.statistic, rel=1e-6)
    # 1e-4: the other library's root finding stops about there.
    assert (r.low, r.high) == pytest.approx(tuple(other.confidence_interval(0.95)), rel=1e-4)
    less, greater = (fisher_exact(table, alternative=side).pvalue for side in ("less", "greater"))
    assert r.p_value == pytest.approx(min(1, 2 * min(less, greater)), rel=1e-9)


@settings(max_examples=examples(50))
@given(cells(most=6))
def test_exact_limits_over_strata_cut_their_tails(tables):
    """At each limit the tilted chances, summed over every combination of tables with those margins, leave 2.5 %."""
    r = exact_common_odds(tables)
    seen = sum(a for (a, _), _ in tables)
    for end, beyond in ((r.low, lambda k: k >= seen), (r.high, lambda k: k <= seen)):
        if not 0 < end < np.inf:
            continue
        chances = {0: 1.0}
        for (a, b), (c, d) in tables:
            possible = range(max(0, a - d), min(a + b, a + c) + 1)
            weight = {k: comb(a + b, k) * comb(c + d, a + c - k) * end**k for k in possible}
            joined = {}
            for (have, chance), (k, w) in product(chances.items(), weight.items()):
                joined[have + k] = joined.get(have + k, 0.0) + chance * w
            chances = joined
        tail = sum(chance for k, chance in chances.items() if beyond(k)) / sum(chances.values())
        assert tail == pytest.approx(0.025, rel=1e-6)


@pytest.mark.parametrize("measure", ["odds", "risk"])
def test_landmarks(measure):
    none_exposed = mantel_haenszel([[[0, 10], [5, 20]], [[0, 3], [2, 3]]], measure=measure)
    assert (float(none_exposed.estimate), float(none_exposed.low)) == (0.0, 0.0)
    assert 0.5 < none_exposed.high < 3
    none_unexposed = mantel_haenszel([[[4, 10], [0, 20]]], measure=measure)
    assert (float(none_unexposed.estimate), float(none_unexposed.high)) == (np.inf, np.inf)
    assert 0.5 < none_unexposed.low < 3
    nobody = mantel_haenszel([[[0, 10], [0, 20]]], measure=measure)
    assert np.isnan([nobody.estimate, nobody.p_value, nobody.tarone_p]).all()
    assert (float(nobody.low), float(nobody.high)) == (0.0, np.inf)
    no_data = mantel_haenszel([[[0, 0], [3, 20]]], measure=measure)
    assert np.isnan([no_data.estimate, no_data.low, no_data.high, no_data.p_value]).all()
    assert no_data.strata == 0


def test_exact_ends_without_adding_up_equal_the_sums():
    """Where exposed events are as few or as many as can be, the odds limit of many strata comes from a product."""
    for tables in ([[[0, 10], [5, 20]], [[0, 3], [2, 3]]], [[[4, 0], [3, 9]], [[2, 5], [0, 6]]]):
        ours, exact = mantel_haenszel(tables), exact_common_odds(tables)
        assert (float(ours.low), float(ours.high)) == pytest.approx((exact.low, exact.high), rel=1e-9)


def test_risk_limits_without_an_event_are_those_of_the_score():
    r = mantel_haenszel([[[0, 40], [7, 60]]], measure="risk")
    one = relative_risk(exposed_events=0, exposed_total=40, unexposed_events=7, unexposed_total=67, method="score")
    assert float(r.high) == pytest.approx(float(one.high), rel=1e-12)
    everybody = mantel_haenszel([[[12, 0], [9, 0]]], measure="risk")
    assert everybody.low < 0.95 < 1.05 < everybody.high


@pytest.mark.parametrize("measure", ["odds", "risk"])
def test_many_questions_at_once(measure):
    tables = np.random.default_rng(3).integers(0, 9, size=(40, 6, 2, 2))
    together = mantel_haenszel(tables, measure=measure)
    for i in range(40):
        alone = mantel_haenszel(tables[i], measure=measure)
        for name in ("estimate", "low", "high", "p_value", "tarone_p"):
            assert float(getattr(together, name)[i]) == pytest.approx(
                float(getattr(alone, name)), rel=1e-12, nan_ok=True
            )


@pytest.mark.parametrize(("strata", "size"), [(4, 150), (60, 12)])
def test_coverage_few_large_and_many_small_strata(strata, size):
    """2,000 seeded questions, odds ratio 2 and risk ratio 2; a share's standard error is 0.005."""
    rng = np.random.default_rng(17)
    base = rng.uniform(0.05, 0.3, strata)
    odds = 2 * base / (1 - base)
    for measure, exposed in (("odds", odds / (1 + odds)), ("risk", 2 * base)):
        a, c = rng.binomial(size, exposed, (2_000, strata)), rng.binomial(2 * size, base, (2_000, strata))
        tables = np.stack([np.stack([a, size - a], axis=-1), np.stack([c, 2 * size - c], axis=-1)], axis=-2)
        r = mantel_haenszel(tables, measure=measure)
        assert np.mean((r.low <= 2) & (r.high >= 2)) == pytest.approx(0.95, abs=0.015)


def test_homogeneity_is_as_promised_and_finds_a_difference():
    """Tarone's test over 2,000 seeded sets of 5 tables: 5 % flagged when alike, most when odds ratios are 1 and 6."""
    rng = np.random.default_rng(18)
    base = np.array([0.1, 0.2, 0.3, 0.2, 0.4])
    for ratios, least, most in (([2] * 5, 0.035, 0.065), ([1, 1, 6, 6, 6], 0.8, 1.0)):
        odds = np.array(ratios) * base / (1 - base)
        a, c = rng.binomial(90, odds / (1 + odds), (2_000, 5)), rng.binomial(90, base, (2_000, 5))
        tables = np.stack([np.stack([a, 90 - a], axis=-1), np.stack([c, 90 - c], axis=-1)], axis=-2)
        assert least <= np.mean(mantel_haenszel(tables).tarone_p <= 0.05) <= most


def test_refusals():
    with pytest.raises(ValueError, match=r"tables must be k x 2 x 2: shape \(2, 2\)"):
        mantel_haenszel([[1, 2], [3, 4]])
    with pytest.raises(ValueError, match="measure must be one of odds, risk"):
        mantel_haenszel([[[1, 2], [3, 4]]], measure="rate")
    with pytest.raises(ValueError, match=r"tables must be k x 2 x 2: shape \(2, 3\)"):
        exact_common_odds([[1, 2, 3], [4, 5, 6]])
    with pytest.raises(ValueError, match="at most 2,000 events for exact limits: 3,000"):
        exact_common_odds([[[1_500, 10], [1_500, 10]]])
