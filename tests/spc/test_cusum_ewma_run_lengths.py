"""Run lengths of CUSUM and EWMA: published tables, a chain of equal steps as a second way, and simulated charts."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from rqa.spc import (
    CusumDesign,
    EwmaDesign,
    NormalPoints,
    ShewhartDesign,
    beyond_limits,
    cusum_chart,
    ewma_chart,
    run_length,
)
from tests.published_runs import RUNS, half
from tests.simulated import departures

CUSUM, EWMA, CROWDER = RUNS["cusum_run_lengths"], RUNS["ewma_run_lengths"], RUNS["ewma_crowder"]


def printed(value, digits):
    """A number as printed with so many significant digits."""
    return float(f"{value:.{digits}g}")


@pytest.mark.parametrize("row", CUSUM["rows"], ids=lambda row: f"h {row['h']} headstart {row['headstart']}")
def test_cusum_table(row):
    """Montgomery after Lucas, and Lucas and Crosier, from memory."""
    design = CusumDesign(k=0.5, h=row["h"], headstart=row["headstart"])
    for shift, mean in zip(CUSUM["shift"], row["mean"], strict=True):
        cell = {"h": row["h"], "headstart": row["headstart"], "shift": shift, "printed": mean}
        other = [d["rounded"] for d in CUSUM["differs"] if cell.items() <= d.items()]
        assert printed(run_length(design, shift=shift).mean, CUSUM["significant"]) == (other or [mean])[0]


def test_the_cell_of_the_cusum_table_that_differs():
    """The first terms of the mean, 1 + P(N > 1) + P(N > 2) + P(N > 3), by plain integrals; they are past 1.325."""
    k, h, start, shift = 0.5, 4.0, 2.0, 3.0

    def stays(sum_before, more):
        """The chance that the upper arm stays within h for so many further points."""
        if more == 0:
            return 1.0
        to_zero = norm.cdf(k - sum_before - shift)
        inside = quad(lambda s: norm.pdf(s - sum_before + k - shift) * stays(s, more - 1), 0, h, epsabs=1e-9)[0]
        return to_zero * stays(0.0, more - 1) + inside

    terms = [stays(start, n) for n in range(4)]
    assert sum(terms) > 1.325
    found = run_length(CusumDesign(k=k, h=h, headstart=start, arms="above"), shift=shift)
    np.testing.assert_allclose(found.survival(np.arange(4)), terms, atol=1e-8)
    assert found.mean == pytest.approx(run_length(CusumDesign(k=k, h=h, headstart=start), shift=shift).mean, rel=1e-7)


@pytest.mark.parametrize("row", EWMA["rows"], ids=lambda row: f"weight {row['weight']}")
def test_ewma_table(row):
    """Lucas and Saccucci 1990, from memory, with their asymptotic limits; and recomputed to two decimals."""
    design = EwmaDesign(weight=row["weight"], width=row["width"], limits="asymptotic")
    for shift, text, recomputed in zip(EWMA["shift"], row["printed"], row["recomputed"], strict=True):
        found = run_length(design, shift=shift).mean
        assert abs(found - recomputed) <= half(2)
        if not any((d["weight"], d["shift"]) == (row["weight"], shift) for d in EWMA["differs"]):
            assert abs(found - float(text)) <= half(len(text.partition(".")[2]))


def ewma_in_equal_steps(weight, width, shift, steps):
    """Mean run length by a chain over the average cut into equal steps, 2 steps + 1 of them."""
    limit = width * np.sqrt(weight / (2 - weight))
    step = 2 * limit / (2 * steps + 1)
    at = (np.arange(2 * steps + 1) - steps) * step
    to = (at - (1 - weight) * at[:, None]) / weight - shift
    chain = norm.cdf(to + step / 2 / weight) - norm.cdf(to - step / 2 / weight)
    return np.linalg.solve(np.eye(len(at)) - chain, np.ones(len(at)))[steps]


@pytest.mark.parametrize("cell", EWMA["differs"], ids=lambda cell: f"weight {cell['weight']}")
def test_the_cells_of_the_ewma_table_that_differ(cell):
    """A chain of equal steps, carried on to steps of nothing, agrees with ours; with few steps it gives the print."""
    width = next(row["width"] for row in EWMA["rows"] if row["weight"] == cell["weight"])
    coarse, fine = (ewma_in_equal_steps(cell["weight"], width, cell["shift"], steps) for steps in (100, 200))
    carried_on = fine + (fine - coarse) / ((401 / 201) ** 2 - 1)
    found = run_length(EwmaDesign(weight=cell["weight"], width=width, limits="asymptotic"), shift=cell["shift"]).mean
    assert found == pytest.approx(carried_on, rel=1e-8)
    assert abs(found - cell["exact"]) <= half(5)
    few = ewma_in_equal_steps(cell["weight"], width, cell["shift"], 40)
    assert abs(few - float(cell["printed"])) <= half(1)


@pytest.mark.parametrize("row", CROWDER["rows"], ids=lambda row: f"weight {row['weight']}")
def test_crowder(row):
    """Crowder 1987, from memory."""
    found = run_length(EwmaDesign(weight=row["weight"], limits="asymptotic")).mean
    assert abs(found - row["mean"]) <= half(CROWDER["decimals"])


def equal_steps(k, h, start, shift, steps):
    """Mean run length of one arm by Brook and Evans (1972): the sum cut into equal steps, the limit midway in one."""
    width = 2 * h / (2 * steps - 1)
    places = np.arange(steps)
    move = (places[None, :] - places[:, None]) * width + k - shift
    chain = norm.cdf(move + width / 2) - norm.cdf(move - width / 2)
    chain[:, 0] = norm.cdf(move[:, 0] + width / 2)
    mean = np.linalg.solve(np.eye(steps) - chain, np.ones(steps))
    return mean[round(start / width)]


@pytest.mark.parametrize(("k", "h", "shift"), [(0.5, 4.0, 0.0), (0.25, 8.0, 0.25), (1.0, 2.0, -0.5), (0.0, 6.0, 0.3)])
def test_one_arm_a_second_way(k, h, shift):
    """Brook and Evans' chain, whose error falls with the square of the step: carried on to steps of nothing."""
    coarse, fine = (equal_steps(k, h, 0, shift, steps) for steps in (200, 400))
    # Widths are 2 h / (2 steps - 1).
    ratio = (799 / 399) ** 2
    carried_on = fine + (fine - coarse) / (ratio - 1)
    found = run_length(CusumDesign(k=k, h=h, arms="above"), shift=shift).mean
    assert found == pytest.approx(carried_on, rel=1e-5)
    assert run_length(CusumDesign(k=k, h=h, arms="below"), shift=-shift).mean == pytest.approx(found, rel=1e-12)


@pytest.mark.parametrize("shift", [0.0, 0.6, -2.0])
def test_two_arms_from_one(shift):
    """1 / L = 1 / L_above + 1 / L_below, and with a headstart the formula of Lucas and Crosier (1982)."""

    def mean(arms, headstart):
        return run_length(CusumDesign(k=0.4, h=4.2, headstart=headstart, arms=arms), shift=shift).mean

    up, down = mean("above", 0.0), mean("below", 0.0)
    assert mean("both", 0.0) == pytest.approx(1 / (1 / up + 1 / down), rel=1e-9)
    up_head, down_head = mean("above", 2.1), mean("below", 2.1)
    assert mean("both", 2.1) == pytest.approx((up_head * down + up * down_head - up * down) / (up + down), rel=1e-9)


@pytest.mark.parametrize(
    ("k", "h", "headstart", "shift"), [(0.5, 4.0, 0.0, 0.0), (0.5, 4.0, 2.0, 0.0), (0.25, 6.0, 3.0, 0.5)]
)
def test_two_arms_simulated(k, h, headstart, shift):
    """Both sums of normal points, point by point, with the whole distribution compared and not only its mean."""
    runs, horizon = 4000, 240
    x = np.random.default_rng(1982).normal(shift, 1, size=(horizon, runs))
    up, down = np.full(runs, headstart), np.full(runs, headstart)
    first = np.full(runs, horizon + 1)
    for i in range(horizon):
        up, down = np.maximum(0, up + x[i] - k), np.maximum(0, down - x[i] - k)
        first = np.where((first > horizon) & (np.maximum(up, down) > h), i + 1, first)
    assert not departures(first, run_length(CusumDesign(k=k, h=h, headstart=headstart), shift=shift), horizon)


@pytest.mark.parametrize(("weight", "limits", "shift", "spread"), [
    (0.1, "exact", 0.0, 1.0), (0.1, "asymptotic", 0.0, 1.0), (0.3, "exact", 0.75, 1.0), (0.2, "exact", 0.0, 1.3),
])
def test_ewma_simulated(weight, limits, shift, spread):
    runs, horizon, width = 4000, 240, 2.7
    x = np.random.default_rng(1959).normal(shift, spread, size=(horizon, runs))
    level, first = np.zeros(runs), np.full(runs, horizon + 1)
    for i in range(horizon):
        level = weight * x[i] + (1 - weight) * level
        share = 1 - (1 - weight) ** (2 * (i + 1)) if limits == "exact" else 1
        limit = width * np.sqrt(weight / (2 - weight) * share)
        first = np.where((first > horizon) & (np.abs(level) > limit), i + 1, first)
    assert not departures(
        first, run_length(EwmaDesign(weight=weight, width=width, limits=limits), shift=shift, spread=spread), horizon
    )


def test_the_charts_themselves_signal_as_often():
    """First signals of the drawn charts, so that design and chart mean the same by k, h, headstart, weight, width."""
    z = np.random.default_rng(11).normal(0.5, 1, size=(400, 60))
    cusum, ewma = [], []
    for row in z:
        made = cusum_chart(row * 3 + 100, target=100, sigma=3, k=0.5, h=4, headstart=2)
        cusum.append(made.signals[0].index + 1 if made.signals else 61)
        made = ewma_chart(row * 3 + 100, target=100, sigma=3, weight=0.2, width=2.5)
        ewma.append(made.signals[0].index + 1 if made.signals else 61)
    assert not departures(np.array(cusum), run_length(CusumDesign(k=0.5, h=4, headstart=2), shift=0.5), 60)
    assert not departures(np.array(ewma), run_length(EwmaDesign(weight=0.2, width=2.5), shift=0.5), 60)


@pytest.mark.parametrize("limits", ["exact", "asymptotic"])
def test_weight_one_is_a_chart_of_single_points(limits):
    for shift in (0.0, 1.3):
        ewma = run_length(EwmaDesign(weight=1, width=2.8, limits=limits), shift=shift)
        single = run_length(ShewhartDesign(rules=(beyond_limits,), width=2.8), shift=shift)
        assert ewma.mean == pytest.approx(single.mean, rel=1e-10)
        assert ewma.sd == pytest.approx(single.sd, rel=1e-9)


@pytest.mark.slow
def test_nodes_are_enough():
    """More nodes of the quadrature change nothing: the run lengths are those of the integral equation."""
    from rqa.spc.run_lengths import cusum, ewma

    asked = [
        (CusumDesign(k=0.5, h=5), NormalPoints()),
        (CusumDesign(k=0.5, h=5), NormalPoints(shift=1, spread=0.2)),
        (CusumDesign(k=0.25, h=12, arms="above"), NormalPoints()),
        (EwmaDesign(weight=0.05, width=2.6), NormalPoints()),
        (EwmaDesign(weight=0.3), NormalPoints(shift=1, spread=0.3)),
    ]
    usual = [run_length(design, points=points).mean for design, points in asked]
    with pytest.MonkeyPatch.context() as patch:
        for module in (cusum, ewma):
            patch.setattr(module, "FEWEST_NODES", 50)
            patch.setattr(module, "NODES_A_SPREAD", 10)
        finer = [run_length(design, points=points).mean for design, points in asked]
    np.testing.assert_allclose(usual, finer, rtol=1e-11)


def test_a_far_limit():
    """With k = 0 a sum behind a far limit h is a reflected walk: its mean run length comes near h^2 (and a step more).

    The wait of a driftless walk from a reflecting 0 to h is h^2 in the limit of small steps; the overshoot of normal
    steps, 0.5826 at either end, makes it (h + 1.1652)^2 (Siegmund, Sequential Analysis, 1985).
    """
    found = run_length(CusumDesign(k=0, h=40.0, arms="above")).mean
    assert found == pytest.approx((40.0 + 2 * 0.5826) ** 2, rel=2e-3)


def test_far_shifts():
    for design in (CusumDesign(), EwmaDesign(weight=0.2)):
        assert run_length(design, shift=60.0).mean == pytest.approx(1.0)
        assert run_length(design, shift=-60.0).mean == pytest.approx(1.0)
    assert run_length(CusumDesign(arms="above"), shift=-3.0).mean > 1e12


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (lambda: CusumDesign(k=-1), "k must be at least 0 and finite: -1"),
        (lambda: CusumDesign(h=0), "h must be above 0 and finite: 0"),
        (lambda: CusumDesign(h=4, headstart=4), "headstart must be at least 0 and below h = 4: 4"),
        (lambda: CusumDesign(arms="left"), "arms must be one of both, above, below: 'left'"),
        (lambda: run_length(CusumDesign(h=4, headstart=3)), "headstart must be at most h / 2 .* = 2.5 where both arms"),
        (lambda: EwmaDesign(weight=0), "weight must be above 0 and at most 1: 0"),
        (lambda: EwmaDesign(weight=0.1, width=-3), "width must be above 0 and finite: -3"),
        (lambda: EwmaDesign(weight=0.1, limits="usual"), "limits must be one of exact, asymptotic: 'usual'"),
        (lambda: run_length(CusumDesign(), odds=2), "odds does not belong to CusumDesign"),
    ],
)
def test_refused(asked, message):
    with pytest.raises(ValueError, match=message):
        asked()
