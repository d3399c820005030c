"""The first rule, on charts written out by hand."""

import numpy as np
import pytest

from rqa.spc import Chart, Signal, beyond_limits
from rqa.spc.chart import judge


def chart(values, sigma=1.0):
    values = np.array(values, dtype=float)
    line = np.full(len(values), sigma)
    return Chart(values=values, centre=0 * line, lower=-3 * line, upper=3 * line, sigma=line)


@pytest.mark.parametrize(
    ("z", "expected"),
    [
        # Vectors a and b of the zone rules (Western Electric 1956), constructed, not published.
        ([0.2, -0.5, 1.1, -0.3, 3.01, 0.4], [(4, "above")]),
        ([0.2, -0.5, 1.1, -0.3, 3.0, 0.4], []),
        ([-3.01, 0.0, 3.5], [(0, "below"), (2, "above")]),
        ([-3.0, np.nan, np.inf, -np.inf], [(2, "above"), (3, "below")]),
        ([], []),
    ],
)
def test_rule(z, expected):
    assert [(s.index, s.side) for s in beyond_limits(chart(z))] == expected


@pytest.mark.parametrize("sigma", [1e-9, 1e-3, 1.0, 1e6])
def test_the_last_bits_do_not_put_a_point_out(sigma):
    on_paper_equal = 3 * sigma * (1 + 4 * np.finfo(float).eps)
    assert beyond_limits(chart([on_paper_equal, -on_paper_equal], sigma)) == ()
    just_out = 3 * sigma * (1 + 1e-6)
    assert [s.side for s in beyond_limits(chart([just_out, -just_out], sigma))] == ["above", "below"]


def test_judge_keeps_the_chart_and_orders_signals_by_point():
    def every_point(c):
        return tuple(Signal(index=i, rule="every point", side="above") for i in range(len(c.values)))

    plain = chart([4.0, 0.0, -4.0])
    judged = judge(plain, beyond_limits, every_point)
    assert judged.values is plain.values
    assert plain.signals == ()
    assert [(s.index, s.rule) for s in judged.signals] == [
        (0, "beyond the limits"),
        (0, "every point"),
        (1, "every point"),
        (2, "beyond the limits"),
        (2, "every point"),
    ]
