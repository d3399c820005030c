"""Return rates of the open telecom standard: its published example, landmarks, exact limits."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from rqa.stats import return_rates

EXAMPLE = tomllib.loads((Path(__file__).parents[2] / "shared" / "follow_up.toml").read_text("utf-8"))["telecom_returns"]


def test_published_example():
    """TL 9000 field-return example 7.1-1 (seen): 3.20, 1.96, 1.56."""
    r = return_rates(returns=EXAMPLE["returns"], units=EXAMPLE["units"])
    half = 0.5 * 10.0 ** -EXAMPLE["decimals"]
    assert np.abs(r.rate - EXAMPLE["rates"]).max() <= half
    assert [float(r.early), float(r.one_year), float(r.long_term)] == r.rate.tolist()


def test_limits_have_the_right_tails():
    r = return_rates(returns=[[0, 1, 12], [3, 0, 0]], units=[[100, 200, 300], [50, 60, 70]], months=3, level=0.9)
    assert r.rate == pytest.approx(400 * r.returns / r.units)
    for x, n, low, high in zip(*(a.ravel() for a in (r.returns, r.units, r.low, r.high)), strict=True):
        assert stats.poisson.cdf(x, high * n / 400) == pytest.approx(0.05, abs=1e-12)
        if x:
            assert stats.poisson.sf(x - 1, low * n / 400) == pytest.approx(0.05, abs=1e-12)
        else:
            assert low == 0


def test_no_units_is_no_data():
    r = return_rates(returns=[1, 0, 0], units=[10, 0, 5])
    assert np.isnan([r.rate[1], r.low[1], r.high[1]]).all()
    assert r.high[2] > 0


@pytest.mark.parametrize(
    ("given_", "message"),
    [
        ({"returns": [1, 2], "units": [3, 4]}, r"last axis of 3 .*: shape \(2,\)"),
        ({"returns": [1, 2, 3], "units": [3, 4, 0]}, "returns must be 0 where there are no units"),
        ({"returns": [1, 2, 3], "units": [3, 4, 5], "months": 0}, "months must be above 0"),
        ({"returns": [1, 2, -3], "units": [3, 4, 5]}, "returns must be at least 0"),
    ],
)
def test_refuses(given_, message):
    with pytest.raises(ValueError, match=message):
        return_rates(**given_)
