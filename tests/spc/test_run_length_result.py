"""The distribution of a run length: what its parts have to do with each other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.spc import MONTHLY, CusumDesign, ShewhartDesign, run_length
from rqa.spc.run_lengths.result import from_hazard


@pytest.fixture(scope="module", params=["in control", "shifted", "cusum"])
def found(request):
    return {
        "in control": lambda: run_length(ShewhartDesign(rules=MONTHLY)),
        "shifted": lambda: run_length(ShewhartDesign(rules=MONTHLY), shift=1.0),
        "cusum": lambda: run_length(CusumDesign(k=0.5, h=4, headstart=2), shift=0.5),
    }[request.param]()


def test_parts_agree(found):
    n = np.arange(1, 6000)
    pmf = found.pmf(n)
    np.testing.assert_allclose(1 - np.cumsum(pmf), found.survival(n), atol=1e-12)
    np.testing.assert_allclose(found.alarm_chance(n), 1 - found.survival(n), atol=1e-14)
    assert pmf.sum() == pytest.approx(1, abs=1e-9)
    # 6,000 points leave a tail below 1e-14 of runs of at most 153 on average.
    assert found.mean == pytest.approx(float(n @ pmf), rel=1e-9)
    assert found.sd == pytest.approx(np.sqrt(float(n**2 @ pmf) - found.mean**2), rel=1e-7)
    assert found.pmf(0) == 0.0
    assert found.survival(0) == 1.0


@pytest.mark.parametrize("chance", [0.001, 0.05, 0.5, 0.9, 0.999])
def test_quantile_is_the_first_point_that_reaches_it(found, chance):
    n = found.quantile(chance)
    assert found.alarm_chance(int(n)) >= chance - 1e-11
    assert found.alarm_chance(int(n) - 1) < chance
    assert found.median == found.quantile(0.5)


@given(st.lists(st.floats(0, 0.9), min_size=1, max_size=12), st.floats(0.01, 1.0))
def test_mean_and_sd_by_hand(hazards, last):
    """Summed point by point until nothing is left."""
    made = from_hazard(np.array([*hazards, last]))
    alive, mean, square, n = 1.0, 0.0, 0.0, 0
    while alive > 1e-15:
        hazard = hazards[n] if n < len(hazards) else last
        n += 1
        mean += n * alive * hazard
        square += n * n * alive * hazard
        alive *= 1 - hazard
    assert made.mean == pytest.approx(mean, rel=1e-9)
    assert made.sd == pytest.approx(np.sqrt(max(square - mean**2, 0)), rel=1e-6, abs=1e-6)
    assert made.hazard.tolist() == [*hazards, last]


def test_shapes_and_refusals():
    found = run_length(ShewhartDesign())
    assert found.pmf([[1, 2], [3, 4]]).shape == (2, 2)
    assert np.ndim(found.survival(5)) == 0
    with pytest.raises(ValueError, match="points must be whole numbers"):
        found.survival(1.5)
    with pytest.raises(ValueError, match="points must be at least 0"):
        found.pmf(-1)
    with pytest.raises(ValueError, match="chance must be one number between 0 and 1"):
        found.quantile(1.0)
    with pytest.raises(ValueError, match="read-only"):
        found.hazard[0] = 0
