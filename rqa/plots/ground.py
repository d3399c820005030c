"""The ground of every chart by month: months in order, a round vertical scale, room for the size bars."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from rqa.plots.theme import WIDTH
from rqa.plots.words import MONTHS

PANEL_HEIGHT = 130


@dataclass(frozen=True)
class Ground:
    """What lies under every chart by month: the months in order and the vertical scale, with room for the size bars."""

    months: tuple[str, ...]
    floor: float
    top: float
    ticks: tuple[float, ...]

    @property
    def bottom(self) -> float:
        """Where the size bars stand."""
        return self.floor - 0.17 * (self.top - self.floor)

    def x(self, field: str = "month", *, edge: int | None = None) -> Any:
        """Months as plain names in order, so that no clock or zone can move them; a year is said once.

        `edge` 0 or 1 is the month's begin or end; without it, its middle.
        """
        few = len(self.months) <= 8
        shown = [m for m in self.months if few or m[5:] in ("01", "04", "07", "10")]
        years = [m for i, m in enumerate(shown) if i == 0 or m[:4] != shown[i - 1][:4]]
        names = {m: MONTHS[int(m[5:]) - 1][:3] for m in shown}
        texts = {m: [names[m], m[:4]] if m in years else [names[m]] for m in shown}
        return alt.X(
            f"{field}:O",
            title=None,
            bandPosition=alt.Undefined if edge is None else edge,
            scale=alt.Scale(domain=list(self.months), paddingInner=0, paddingOuter=0),
            axis=alt.Axis(
                values=shown,
                labelExpr=f"({json.dumps(texts)})[datum.value]",
                labelAngle=0,
                labelOverlap=False,
                ticks=False,
                labelLineHeight=13,
            ),
        )

    def y(self, field: str) -> Any:
        """The share's scale: ticks on round numbers, none in the room of the size bars."""
        form = "%" if all(abs(t * 100 - round(t * 100)) < 1e-9 for t in self.ticks) else ".1%"
        return alt.Y(
            f"{field}:Q",
            title=None,
            scale=alt.Scale(domain=[self.bottom, self.top], nice=False, zero=False),
            axis=alt.Axis(values=list(self.ticks), format=form, domain=False, ticks=False),
        )


def all_months(first: str, last: str) -> tuple[str, ...]:
    """Every month from first to last, as text, those without data too: a gap must look like a gap."""
    (y, m), made = (int(first[:4]), int(first[5:])), []
    while (key := f"{y:04d}-{m:02d}") <= last:
        made.append(key)
        y, m = (y + 1, 1) if m == 12 else (y, m + 1)
    return tuple(made)


def ground(months: Sequence[str], lows: Sequence[float], highs: Sequence[float], *, from_zero: bool) -> Ground:
    """The ground for these months and values; the scale starts at zero, or a round step below the lowest value."""
    top = max([*highs, 0.001])
    floor = 0.0 if from_zero else min([*lows, top])
    span = max(top - floor, 0.002)
    step = next(s for s in (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2) if span / s <= 5 or s == 0.2)
    low = int(floor / step + 1e-9)
    high = low
    while high * step < top - 1e-9:
        high += 1
    ticks = tuple(round(i * step, 6) for i in range(low, high + 1) if i * step <= 1 + 1e-9)
    return Ground(all_months(min(months), max(months)), ticks[0], max(ticks[-1], min(top, 1.0)), ticks)


def early_word(follow_up: bool) -> str:
    """Why a month is not final: its follow-up is not over, or it is not over itself."""
    return "not yet matured" if follow_up else "month not over"


def early_zone(first: str, last: str, under: Ground, *, base: Any, word: str) -> list[Any]:
    """A dashed frame over the months whose follow-up is not over, with the words above it."""
    right = under.months.index(last) > 0.6 * len(under.months)
    here = base.transform_filter(f"datum.month == '{last if right else first}'").transform_calculate(
        early_from=f"'{first}'", early_to=f"'{last}'", early_word=f"'{word}'"
    )
    return [
        here.mark_rect(style="rqa-early").encode(
            x=under.x("early_from", edge=0),
            x2=alt.X2("early_to:O", bandPosition=1),
            y=alt.value(0),
            y2=alt.value("height"),
        ),
        here.mark_text(
            style="rqa-note", align="right" if right else "left", baseline="bottom", dy=-3, fontStyle="italic"
        ).encode(
            x=under.x(f"early_{'to' if right else 'from'}", edge=1 if right else 0),
            y=alt.value(0),
            text="early_word:N",
        ),
    ]


def month_under_pointer() -> Any:
    """The selection of the month nearest to the pointer."""
    return alt.selection_point(
        name="over", fields=["month"], on="pointerover", nearest=True, empty=False, clear="pointerout"
    )


def in_panels(layers: Sequence[Any], values: Any, panels: int) -> Any:
    """The layers as one picture, or as one panel under another where there are several groups."""
    if panels == 1:
        return alt.layer(*layers)
    return (
        alt.layer(*layers, data=values)
        .properties(width=WIDTH, height=PANEL_HEIGHT)
        .facet(row=alt.Row("panel:N", title=None, header=alt.Header(labelOrient="top")))
        .properties(spacing=8)
    )
