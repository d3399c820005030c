"""Defects per unit and per million, and the sigma level: published tables, way there and back, landmarks."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, poisson

from rqa.stats import defect_rate, dpmo_at_sigma, sigma_level, standardised_ratio

LEVELS = tomllib.loads((Path(__file__).parents[2] / "shared" / "comparison.toml").read_text("utf-8"))["sigma_levels"]


@pytest.mark.parametrize("row", LEVELS["rows"], ids=lambda r: str(r["sigma"]))
def test_customary_table(row):
    """One-sided, shift 1.5 (printed values seen); 308,537 is printed cut off, hence the whole unit there."""
    dpmo = float(dpmo_at_sigma(sigma=row["sigma"]).dpmo)
    assert abs(dpmo - row["exact"]) <= 0.5e-4
    unit = 10.0 ** -row["decimals"]
    assert abs(dpmo - row["printed"]) <= (unit if row["sigma"] == 2 else 0.5 * unit)
    assert float(sigma_level(dpmo=dpmo).sigma) == pytest.approx(row["sigma"], abs=1e-9)
    assert float(sigma_level(dpmo=row["exact"], shift=0).sigma) == pytest.approx(row["sigma"] - 1.5, abs=1e-5)


@given(st.floats(0.01, 999_999), st.floats(0, 3))
def test_there_and_back(dpmo, shift):
    sigma = sigma_level(dpmo=dpmo, shift=shift).sigma
    assert float(sigma) == pytest.approx(norm.isf(dpmo / 1e6) + shift, abs=1e-9)
    assert float(dpmo_at_sigma(sigma=sigma, shift=shift).dpmo) == pytest.approx(dpmo, rel=1e-9)


def test_sigma_landmarks():
    r = sigma_level(dpmo=[0, 1_000_000, 500_000, np.nan])
    assert r.sigma[:2].tolist() == [np.inf, -np.inf]
    assert float(r.sigma[2]) == pytest.approx(1.5, abs=1e-15)
    assert np.isnan(r.sigma[3])
    assert r.shift == 1.5


@given(st.integers(0, 10**6), st.integers(1, 10**6), st.floats(0.1, 500), st.floats(0.5, 0.999))
def test_rates_and_their_limits(defects, exposures, opportunities, level):
    r = defect_rate(defects=defects, exposures=exposures, opportunities=opportunities, level=level)
    assert float(r.dpu) == pytest.approx(defects / exposures, rel=1e-12)
    assert float(r.dpmo) == pytest.approx(defects / (exposures * opportunities) * 1e6, rel=1e-12)
    same = standardised_ratio(observed=defects, expected=exposures, level=level)
    assert (float(r.dpu_low), float(r.dpu_high)) == pytest.approx((float(same.low), float(same.high)), rel=1e-9)
    assert float(r.dpmo_high) == pytest.approx(float(r.dpu_high) / opportunities * 1e6, rel=1e-12)
    assert poisson.cdf(defects, float(r.dpu_high) * exposures) == pytest.approx((1 - level) / 2, rel=1e-7)


def test_defect_landmarks():
    r = defect_rate(defects=[0, 0, 7], exposures=[50, 0, 2], opportunities=[10, 10, 1])
    assert (r.dpu[0], r.dpmo_low[0], r.dpu[2]) == (0.0, 0.0, 3.5)
    assert 0 < r.dpmo_high[0] < 1e6
    assert np.isnan([r.dpu[1], r.dpmo[1], r.dpmo_low[1], r.dpmo_high[1]]).all()


def test_refusals():
    with pytest.raises(ValueError, match="opportunities must be above 0"):
        defect_rate(defects=1, exposures=2, opportunities=0)
    with pytest.raises(ValueError, match="exposures must be at least 0"):
        defect_rate(defects=1, exposures=-2)
    with pytest.raises(ValueError, match="dpmo / 1e6 must be between 0 and 1"):
        sigma_level(dpmo=2_000_000)
    with pytest.raises(ValueError, match="shift must be at least 0"):
        sigma_level(dpmo=3, shift=-1)
    with pytest.raises(ValueError, match="shift must be one number"):
        dpmo_at_sigma(sigma=3, shift=[1.5, 0])
