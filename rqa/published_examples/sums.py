"""Worked examples of rules, moving averages and sums."""

from typing import Any

from rqa.published_examples.tables import CheckedFigure, exactly, printed, row, tables


def zones(block: dict[str, Any]) -> list[CheckedFigure]:
    """Each rule on standardised values made for it: the point at which its first signal stands."""
    import numpy as np

    from rqa.spc import NELSON, WESTERN_ELECTRIC, Chart

    rules = {rule.name: rule for rule in (*WESTERN_ELECTRIC, *NELSON)}
    made = []
    for line in block["rows"]:
        z = np.array(line["z"])
        flat = np.zeros_like(z)
        found = rules[line["rule"]](Chart(values=z, centre=flat, lower=flat - 3, upper=flat + 3, sigma=flat + 1))
        first = found[0].index + 1 if found else 0
        made.append(exactly(f"{line['id']}: {line['rule']}", [line["first"]], [first]))
    return made


def ewma_handbook(block: dict[str, Any]) -> list[CheckedFigure]:
    """Averages of twenty values against settled limits."""
    from rqa.spc import ewma_chart

    chart = ewma_chart(
        block["values"], weight=block["weight"], width=block["width"], target=block["target"], sigma=block["sigma"],
        limits="asymptotic",
    )
    d = block["limit_decimals"]
    why = "printed cut off, not rounded"
    return [
        *row("average", block["ewma"], chart.values, block["ewma_decimals"]),
        printed("upper limit", block["upper"], float(chart.upper[0]), d),
        printed("lower limit", block["lower_printed"], float(chart.lower[0]), d, why),
        exactly("points out", [], [s.index + 1 for s in chart.signals]),
    ]


def ewma_textbook(block: dict[str, Any]) -> list[CheckedFigure]:
    """Averages with a long memory against exact limits."""
    from rqa.spc import ewma_chart

    values = tables()["cusum_textbook"]["values"]
    chart = ewma_chart(values, weight=block["weight"], width=block["width"], target=10, sigma=1)
    d = block["limit_decimals"]
    ends = [(0, "first"), (-1, "settled")]
    made = row("average", block["ewma"], chart.values, block["decimals"])
    for place, name in ends:
        low, high = block[f"{name}_limits"]
        made += [printed(f"{name} lower limit", low, float(chart.lower[place]), d),
                 printed(f"{name} upper limit", high, float(chart.upper[place]), d)]
    return [*made, exactly("points out", block["out"], [s.index + 1 for s in chart.signals])]


def cusum(block: dict[str, Any]) -> list[CheckedFigure]:
    """Both sums of a tabular CUSUM, and the points at which one is beyond its limit."""
    import numpy as np

    from rqa.spc import cusum_chart

    # Without a sigma, k and h are in the units of the values.
    chart = cusum_chart(
        block["values"], target=block["target"], sigma=block.get("sigma", 1.0), k=block["k"], h=block["h"]
    )
    out = np.flatnonzero((chart.high > block["h"]) | (chart.low > block["h"])) + 1
    return [
        *row("high", block["high"], chart.high, block["decimals"]),
        *row("low", block["low"], chart.low, block["decimals"]),
        exactly("points out", block["out"], out.tolist()),
    ]


def bernoulli(block: dict[str, Any]) -> list[CheckedFigure]:
    """What a job weighs when one chance is to be told from another."""
    from rqa.spc import bernoulli_weights

    made = []
    for line in block["rows"]:
        r = bernoulli_weights(p0=line["p0"], p1=line["p1"])
        name = f"{line['p0']} against {line['p1']}"
        made += [
            printed(f"{name}: r1", line["r1"], r.r1, block["decimals"]),
            printed(f"{name}: r2", line["r2"], r.r2, block["decimals"]),
            printed(f"{name}: 1 / reference", line["one_over_reference"], 1 / r.reference, 2),
        ]
    return made


def risk_adjusted(block: dict[str, Any]) -> list[CheckedFigure]:
    """What a job adds to the risk-adjusted sum, with and without the event."""
    import math

    from rqa.spc import risk_adjusted_cusum

    made, d = [], block["decimals"]
    for line in block["rows"]:
        expected = 1 / (1 + math.exp(-(block["intercept"] + block["slope"] * line["score"])))
        r = risk_adjusted_cusum(outcome=[1, 0], expected=expected, odds_ratio=block["odds_ratio"], h=4.5)
        name = f"score {line['score']}"
        made += [
            printed(f"{name}: expected", line["expected"], expected, d),
            printed(f"{name}: with the event", line["event"], float(r.weights[0]), d),
            printed(f"{name}: without", line["no_event"], float(r.weights[1]), d),
        ]
    return made
