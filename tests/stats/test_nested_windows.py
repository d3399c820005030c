"""The surest of nested windows: published constants of repeated looks, and paths drawn at random."""

import numpy as np
import pytest
from scipy import special

from rqa.stats import surest_window

POCOCK = ((2, 2.178), (3, 2.289), (4, 2.361), (5, 2.413), (10, 2.555))
"""Looks at equal steps and the bound, in standard deviations, that one in twenty paths passes: Pocock, Biometrika 64,
1977, 191-199, Table 1 (from memory)."""


@pytest.mark.parametrize(("looks", "bound"), POCOCK)
def test_published_bounds_are_passed_by_one_path_in_twenty(looks: int, bound: float) -> None:
    """The bounds are given to three decimals: a thousandth of one is worth 0.0002 of the chance."""
    alone = 2.0 * float(special.ndtr(-bound))
    made = surest_window(smallest=[alone], information=[np.arange(1, looks + 1)], sides=2)
    assert made.p_value[0] == pytest.approx(0.05, abs=2e-4)


@pytest.mark.parametrize("held", [(50, 100, 200, 400), (100, 130, 260, 300), (10, 400)])
def test_chances_are_those_of_drawn_paths(held: tuple[int, ...]) -> None:
    """400,000 paths: four standard errors."""
    rng = np.random.default_rng(5)
    steps = np.diff((0, *held)) ** 0.5
    path = (rng.standard_normal((400_000, len(held))) * steps).cumsum(axis=1) / np.array(held) ** 0.5
    for smallest in (0.2, 0.05, 0.003):
        seen = float((path.max(axis=1) >= -special.ndtri(smallest)).mean())
        said = float(surest_window(smallest=[smallest], information=[held]).p_value[0])
        assert said == pytest.approx(seen, abs=4.0 * (seen / 400_000) ** 0.5)


def test_one_window_and_windows_alike_are_one_look() -> None:
    made = surest_window(smallest=[0.03, 0.03, 0.03], information=[[0, 0, 40], [40, 40, 41], [0, 40, 0]])
    assert made.p_value.tolist() == [0.03] * 3


def test_far_out_the_looks_add_up_and_no_further() -> None:
    """Of four looks the chance goes to four times that of one, from below; none is 0, and 1 stays 1."""
    looks = [[50, 100, 200, 400]]
    worth = [float(surest_window(smallest=[p], information=looks).p_value[0]) / p for p in (1e-3, 1e-6, 1e-12, 1e-30)]
    assert worth == sorted(worth)
    assert 3.4 < worth[0] < worth[-1] <= 4.0
    none, one = surest_window(smallest=[0.0, 1.0], information=looks * 2).p_value.tolist()
    assert 0.0 < none < 1e-300
    assert one == 1.0


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"smallest": [1.2], "information": [[1, 2]]}, "smallest"),
        ({"smallest": [0.1], "information": [1, 2]}, "a row a comparison"),
        ({"smallest": [0.1], "information": [[2, 1]]}, "longer window"),
        ({"smallest": [0.1], "information": [[3, 0, 2]]}, "longer window"),
        ({"smallest": [0.1], "information": [[1, 2]], "sides": 3}, "sides"),
    ],
)
def test_what_makes_no_sense_is_refused(how: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        surest_window(**how)  # type: ignore[arg-type]
