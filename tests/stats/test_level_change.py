"""The change of level of a share: against a regression library, against a plain search, and how often it is wrong."""

import numpy as np
import pytest
import statsmodels.api as sm

from rqa.stats import level_change
from rqa.stats.level_change import BAR

STEADY = [11, 9, 12, 10, 13, 9, 11, 12, 10, 8, 11, 10, 12, 9, 11]


def _deviance(count: list[int], size: list[int], *terms: list[float]) -> float:
    """Of a binomial regression on a constant and these terms, as statsmodels fits it."""
    design = np.column_stack([np.ones(len(count)), *terms])
    rest = np.array(size) - np.array(count)
    return float(sm.GLM(np.column_stack([count, rest]), design, family=sm.families.Binomial()).fit().deviance)


def test_the_evidence_is_the_drop_in_deviance_of_a_binomial_regression() -> None:
    # A step in the constant, tried at every place: the largest drop in deviance is twice the log likelihood ratio.
    count, size = [9, 14, 8, 12, 15, 11, 13, 6, 4, 7, 3, 5], [90, 130, 95, 110, 140, 120, 118, 99, 87, 120, 80, 101]
    whole = _deviance(count, size)
    drops = {
        cut: whole - _deviance(count, size, [float(i >= cut) for i in range(len(count))])
        for cut in range(4, len(count))
    }
    found = level_change(count=count, size=size)
    best = max(drops, key=lambda cut: drops[cut])
    assert found.since == best
    assert found.evidence * found.dispersion == pytest.approx(drops[best], rel=1e-6)
    assert found.before == pytest.approx(sum(count[:best]) / sum(size[:best]))
    assert found.after == pytest.approx(sum(count[best:]) / sum(size[best:]))
    assert found.low < found.difference < found.high < 0


def test_the_dispersion_is_that_of_successive_months_or_of_their_levels() -> None:
    count, size = [5, 18, 4, 21, 6, 17, 5, 20, 3, 19, 6, 18], [100] * 12
    found = level_change(count=count, size=size)
    assert found.since is None
    shares = np.array(count) / 100
    # By hand: no change is likelier than chance here, so the level is nearly one; steps of 0.13 each way.
    assert found.dispersion > np.mean(np.diff(shares) ** 2 / (2 * 0.118 * 0.882 / 100)) * 0.95 * 12 / 8


def test_a_gain_that_fades_is_told_as_the_rise_that_it_is() -> None:
    count = [22, 20, 23, 21, 20, 22, 21, 23, 21, 22, 21, 20, 4, 5, 3, 4, 4, 22, 23, 21, 24]
    found = level_change(count=count, size=[200] * len(count))
    assert (found.since, found.first_before) == (17, 12)
    assert found.difference > 0
    assert found.before == pytest.approx(20 / 1000)


def test_a_change_of_long_ago_is_no_news() -> None:
    count = [22] * 8 + [8] * 14
    assert level_change(count=count, size=[200] * 22).since is None
    assert level_change(count=count, size=[200] * 22, recent=14).since == 8


def test_what_could_not_be_seen_is_said() -> None:
    assert level_change(count=STEADY, size=[100] * 15).would_show
    assert not level_change(count=[1, 0] * 7, size=[10] * 14).would_show
    assert not level_change(count=[0] * 14, size=[30] * 14).would_show
    assert not level_change(count=[1, 2, 3], size=[100] * 3).would_show
    with_gap = level_change(count=[*STEADY[:5], 0, *STEADY[5:]], size=[*[100] * 5, 0, *[100] * 10])
    assert with_gap.evidence == level_change(count=STEADY, size=[100] * 15).evidence


def test_a_month_without_any_event_changes_nothing_in_the_numbers() -> None:
    found = level_change(count=[20, 21, 19, 22, 20, 0, 0, 0], size=[100] * 8)
    assert (found.since, found.after) == (5, 0.0)
    assert -1.0 <= found.low < found.high <= 1.0


def test_known_dispersion_asks_for_more() -> None:
    count, size = [11, 9, 12, 10, 13, 9, 11, 12, 10, 4, 5, 3, 4], [100] * 13
    assert level_change(count=count, size=size).since == 9
    clustered = level_change(count=count, size=size, dispersion=2.5)
    assert clustered.since is None
    assert clustered.evidence < BAR


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"count": [3], "size": [2]}, "count"),
        ({"count": [[1]], "size": [[2]]}, "one axis"),
        ({"count": [1], "size": [2], "dispersion": 0.5}, "dispersion"),
        ({"count": [1], "size": [2], "recent": 0}, "recent"),
        ({"count": [1], "size": [2], "level": 1}, "level"),
    ],
)
def test_faults_are_named(given: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        level_change(**given)  # type: ignore[arg-type]


@pytest.mark.slow
@pytest.mark.parametrize(("spread", "most"), [(0.0, 0.074), (0.15, 0.11)])
def test_a_share_that_does_not_change_is_seldom_told_to(spread: float, most: float) -> None:
    # Promised: one year in 25, one in fifteen where months vary; 300 years, three standard errors above each.
    rng = np.random.default_rng(20)
    wrong = 0
    for _ in range(300):
        shares = 0.09 * (rng.gamma(spread**-2, spread**2, size=38) if spread else np.ones(38))
        size = np.maximum(rng.poisson(200, size=38), 1)
        count = rng.binomial(size, np.minimum(shares, 1.0))
        wrong += any(
            level_change(count=count[page : page + 27], size=size[page : page + 27]).since is not None
            for page in range(12)
        )
    assert wrong / 300 < most


@pytest.mark.slow
def test_a_halving_is_seen_on_most_pages_of_the_year() -> None:
    rng = np.random.default_rng(21)
    right = []
    for _ in range(150):
        shares = np.where(np.arange(38) >= 26, 0.05, 0.10)
        size = np.maximum(rng.poisson(100, size=38), 1)
        count = rng.binomial(size, shares)
        found = [level_change(count=count[p : p + 27], size=size[p : p + 27]) for p in range(12)]
        right.append(sum(f.since is not None and f.difference < 0 for f in found))
    # Promised: seven; three standard errors (of 0.3) below.
    assert np.mean(right) > 6.1
