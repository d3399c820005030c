"""Worked examples of charts and of capability."""

from typing import Any

from rqa.published_examples.tables import CheckedFigure, exactly, printed, row, tables

ROUNDED_D2 = "printed with d2 rounded to 1.128; with it we get {:.4f}"
TABLE_D2 = 1.128


def _out(chart: Any) -> list[int]:
    return [signal.index + 1 for signal in chart.signals]


def individuals(block: dict[str, Any]) -> list[CheckedFigure]:
    """Single values with their moving ranges."""
    from rqa.spc import individuals_chart

    chart, d = individuals_chart(block["values"]), block["decimals"]
    mean, width = float(chart.centre[0]), float(chart.spread.centre[0])
    made = [printed("centre", block["centre"], mean, 2), printed("mean moving range", block["mean_range"], width, d)]
    for name, sign in (("lower", -1), ("upper", 1)):
        as_printed = block["centre"] + sign * 3 * block["mean_range"] / TABLE_D2
        why = ROUNDED_D2.format(as_printed)
        made.append(printed(f"{name} limit", block[name], float(getattr(chart, name)[0]), d, why))
    return made


def wafers(block: dict[str, Any]) -> list[CheckedFigure]:
    """Defects on wafers of one size: the c chart."""
    from rqa.spc import c_chart

    chart = c_chart(block["count"])
    made = [printed(f"{name}", block[name], float(getattr(chart, name)[0]), 0) for name in ("centre", "lower", "upper")]
    return [*made, exactly("wafers out", block["out"], _out(chart))]


def motors(block: dict[str, Any]) -> list[CheckedFigure]:
    """Faulty motors among those inspected, with more spread than chance: Laney's p' chart."""
    from rqa.spc import laney_p_chart

    chart = laney_p_chart(count=block["defective"], size=block["inspected"])
    return [
        printed("sigma of the standardised points", block["sigma_z"], float(chart.sigma_z[0]), 6),
        printed("upper limit of lot 14", block["upper_of_14"], float(chart.upper[13]), 4),
        exactly("lots out", block["out"], _out(chart)),
    ]


def valves(block: dict[str, Any]) -> list[CheckedFigure]:
    """Hours between failures of valves: the t chart."""
    from rqa.spc import t_chart

    chart, d = t_chart(block["hours"], power=block["exponent"]), block["decimals"]
    wide = float(chart.upper[0] - chart.centre[0])
    made = row("transformed", block["transformed"], chart.values, d)
    known = block["misprint"]
    made = [
        CheckedFigure(
            f.figure, f.published, f.computed, f.agrees, f"a misprint: {known['hours']}^0.2777 = {known['correct']}"
        )
        if not f.agrees
        else f
        for f in made
    ]
    return [
        *made,
        printed("centre", block["centre"], float(chart.centre[0]), 6),
        printed("upper limit, with d2 = 1.128", block["upper_with_1128"], float(chart.centre[0]) + wide * D2_RATIO, 5),
        exactly("failures out", block["out"], _out(chart)),
    ]


D2_RATIO = 2 / 3.141592653589793**0.5 / TABLE_D2
"""The exact d2 of two over the rounded one of the tables."""


def gaps(block: dict[str, Any]) -> list[CheckedFigure]:
    """Jobs between rare events: the g chart of a known chance."""
    from rqa.spc import g_chart

    chart = g_chart([0, 18])  # a mean gap of (1 - 0.1) / 0.1 = 9
    return [
        printed("centre", block["centre"], float(chart.centre[0]), 0),
        printed("upper limit", block["upper"], float(chart.upper[0]), 4),
        printed("chance of a false alarm", block["false_alarm"], chart.false_alarm, 6),
    ]


def rings(block: dict[str, Any]) -> list[CheckedFigure]:
    """Diameters of rings in subgroups of five: means with ranges and with standard deviations."""
    from rqa.spc import constants, xbar_r_chart, xbar_s_chart

    r, s, d = xbar_r_chart(block["rows"]), xbar_s_chart(block["rows"]), block["decimals"]
    five = constants(5)
    by_r = block["grand_mean"] + five.A2 * block["mean_range"]
    by_s = block["grand_mean"] + five.A3 * block["mean_deviation"]
    why = "printed from rounded means; with those we get {:.4f}"
    return [
        printed("grand mean", block["grand_mean"], float(r.centre[0]), d),
        printed("mean range", block["mean_range"], float(r.spread.centre[0]), d),
        printed("mean deviation", block["mean_deviation"], float(s.spread.centre[0]), 4),
        printed("means by range, lower", block["means"]["lower"], float(r.lower[0]), d),
        printed("means by range, upper", block["means"]["upper"], float(r.upper[0]), d, why.format(by_r)),
        printed("means by deviation, lower", block["means"]["lower"], float(s.lower[0]), d),
        printed("means by deviation, upper", block["means"]["upper"], float(s.upper[0]), d, why.format(by_s)),
        printed("ranges, upper", block["ranges"]["upper"], float(r.spread.upper[0]), d),
        printed("deviations, upper", block["deviations"]["upper"], float(s.spread.upper[0]), 4),
    ]


def unequal_rings(block: dict[str, Any]) -> list[CheckedFigure]:
    """The same rings with some measurements left out."""
    from rqa.spc import xbar_s_chart

    full = tables()["rings"]["rows"]
    chart = xbar_s_chart([line[:size] for line, size in zip(full, block["sizes"], strict=True)])
    return [
        printed("grand mean", block["grand_mean"], float(chart.centre[0]), 3),
        printed("measurements", block["measurements"], float(chart.size.sum()), 0),
    ]


def index(block: dict[str, Any]) -> list[CheckedFigure]:
    """Indices of capability from a mean and a deviation."""
    import numpy as np
    from scipy import special

    from rqa.stats import capability

    # A hundred normal scores in a mixed order, moved to exactly the printed mean and deviation.
    z = np.random.default_rng(1).permutation(special.ndtri((np.arange(100) + 0.5) / 100))
    values = block["mean"] + block["deviation"] * (z - z.mean()) / z.std(ddof=1)
    r = capability(values, lower_limit=block["lower_limit"], upper_limit=block["upper_limit"])
    found = {"cp": r.pp, "cpk": r.ppk, "cpu": r.upper, "cpl": r.lower}
    made = [printed(name, block[name], value.estimate, block["decimals"]) for name, value in found.items()]
    return [*made, printed("k, off centre", block["k"], r.off_centre, block["decimals"])]


def interval(block: dict[str, Any]) -> list[CheckedFigure]:
    """The interval of an index from twenty values."""
    from rqa.stats.capability_index import Spread, width

    spread = Spread(sigma=block["deviation"], root=block["deviation"], degrees=float(block["n"] - 1))
    made = width(block["lower_limit"], block["upper_limit"], spread, 0.95)
    why = f"printed from rounded figures: {block['note'].split(';')[0].split(': ')[-1]}"
    names = ("estimate", "low end", "high end")
    values = (made.estimate, made.low, made.high)
    return [printed(n, p, v, 2, why) for n, p, v in zip(names, block["cp"], values, strict=True)]
