"""The mix of come-backs: each share of each group, those that stand out first, beside what one mix would make."""

from typing import Any

from rqa.answers.comebacks.mix import SAME, ComebackMix
from rqa.plots.figure_rows import figure_rows
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of, limits
from rqa.plots.theme import WIDTH
from rqa.words import NAMES, counted, interval, listed, percent, spoken

MOST = 18
"""Rows drawn; the table holds all."""


def mix_title(answer: ComebackMix) -> str:
    """What the come-backs are made up of, and by what."""
    by = listed([NAMES.get(b, b) for b in by_of(answer)])
    return f"Come-backs by {spoken(answer.settings['made_of'])}" + (f", by {by}" if by else "")


@draws(ComebackMix, title=mix_title, limited=True)
def plot_mix(
    answer: ComebackMix,
    *,
    headed: bool = True,
    width: int | str = WIDTH,
    selection: bool = True,
    limit: int | None = None,
) -> Any:
    """A dot and an interval for the share of each part in each group; a band from there to what one mix would make."""
    by, made_of = by_of(answer), str(answer.settings["made_of"])
    sums: dict[Any, int] = {}
    for r in answer.table.iter_rows(named=True):
        key = tuple(r[b] for b in by)
        sums[key] = sums.get(key, 0) + r["returned"]
    rows = []
    cells = sorted(answer.table.iter_rows(named=True), key=lambda r: (-abs(r["residual"] or 0.0), -r["returned"]))
    for r in cells[: limit or MOST]:
        whole = sums[tuple(r[b] for b in by)]
        one_mix = r["expected"] / whole if r["expected"] is not None and whole else None
        words = [] if r["verdict"] in (None, SAME) else [r["verdict"]]
        rows.append({
            "label": " · ".join(spoken(r[name]) for name in (*by, made_of)),
            "value": r["share"], "low": r["low"], "high": r["high"],
            "beside": "  ·  ".join([f"{r['returned']:,} of {counted(whole, 'come-back')}", *words]),
            "why": "" if r["share"] is not None else "no data",
            "interval": f"{percent(r['share'])}, {interval(r['low'], r['high'])}",
            "from": min(r["share"], one_mix) if one_mix is not None and r["share"] is not None else None,
            "to": max(r["share"], one_mix) if one_mix is not None and r["share"] is not None else None,
        })
    level = float(str(answer.settings["level"])) * 100
    subtitle = [f"dot = share; line = {level:g} % interval; band = from there to the share, were all of one mix"]
    if answer.table.height > len(rows):
        subtitle.append(f"the {len(rows)} of {counted(answer.table.height, 'cell')} furthest from one mix")
    return figure_rows(
        rows, title=mix_title(answer), subtitle=[*subtitle, *limits(answer)], axis={"format": ".0%"},
        domain=(0.0, 1.0), headed=headed, width=width,
    )
