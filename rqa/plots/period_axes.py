"""The ground of every chart by period: periods in order, a round vertical scale, room for the size bars."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import altair as alt

from rqa.plots.theme import WIDTH
from rqa.words import MONTHS, week_of

PANEL_HEIGHT = 130
LEAST_SPAN = 0.02
"""The least range of shares that an axis shows: a narrower one makes a mountain of a tenth of a point."""
MOST_TICKS = 5
FEW = 8
"""Periods up to which each is named on the axis."""
STEPS = (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2)
"""Steps between the ticks of a share."""
EARLY = "rqa-early"
"""The look of the frame over periods that are not final."""
Labels = Mapping[str, Sequence[str]]


@dataclass(frozen=True)
class PeriodAxes:
    """What lies under every chart by period: the periods in order and the vertical scale, with room for the size bars.

    `labels` holds the periods named on the axis, with the lines of their names.
    """

    periods: tuple[str, ...]
    floor: float
    top: float
    ticks: tuple[float, ...]
    labels: Labels
    share: bool = True
    room: float = 0.17
    """The part of the scale's height, below its floor, that the size bars take."""

    @property
    def bottom(self) -> float:
        """Where the size bars stand."""
        return self.floor - self.room * (self.top - self.floor)

    def x(self, field: str = "month", *, edge: int | None = None) -> Any:
        """Periods as plain names in order, so that no clock or zone can move them; a year is said once.

        `edge` 0 or 1 is the period's begin or end; without it, its middle.
        """
        return alt.X(
            f"{field}:O",
            title=None,
            bandPosition=alt.Undefined if edge is None else edge,
            scale=alt.Scale(domain=list(self.periods), paddingInner=0, paddingOuter=0),
            axis=alt.Axis(
                values=list(self.labels),
                labelExpr=f"({json.dumps(dict(self.labels))})[datum.value]",
                labelAngle=0,
                labelOverlap=False,
                ticks=False,
                labelLineHeight=13,
            ),
        )

    def y(self, field: str) -> Any:
        """The vertical scale: ticks on round numbers, none in the room of the size bars."""
        return alt.Y(
            f"{field}:Q",
            title=None,
            scale=alt.Scale(domain=[self.bottom, self.top], nice=False, zero=False),
            axis=alt.Axis(values=list(self.ticks), format=self._form(), domain=False, ticks=False),
        )

    def _form(self) -> str:
        if self.share:
            return "%" if all(abs(t * 100 - round(t * 100)) < 1e-9 for t in self.ticks) else ".1%"
        step = min((b - a for a, b in zip(self.ticks, self.ticks[1:], strict=False)), default=1.0)
        return f",.{max(0, -math.floor(math.log10(step) + 1e-9))}f"


def all_months(first: str, last: str) -> tuple[str, ...]:
    """Every month from first to last, as text, those without data too: a gap must look like a gap."""
    (y, m), made = (int(first[:4]), int(first[5:])), []
    while (key := f"{y:04d}-{m:02d}") <= last:
        made.append(key)
        y, m = (y + 1, 1) if m == 12 else (y, m + 1)
    return tuple(made)


def all_weeks(first: str, last: str) -> tuple[str, ...]:
    """Every ISO week from first to last, as text like 2025-W10."""
    day, made = date.fromisocalendar(int(first[:4]), int(first[6:]), 1), []
    while (key := week_of(day)) <= last:
        made.append(key)
        day += timedelta(days=7)
    return tuple(made)


def all_periods(keys: Sequence[str]) -> tuple[str, ...]:
    """Every month or week from the first of these to the last."""
    return (all_weeks if "W" in keys[0] else all_months)(min(keys), max(keys))


def period_labels(periods: Sequence[str]) -> Labels:
    """Names on the axis: of every period when they are few, else of each quarter's first; a year is said once."""
    quarters = ("W01", "W14", "W27", "W40") if "W" in periods[0] else ("01", "04", "07", "10")
    shown = [p for p in periods if len(periods) <= FEW or p[5:] in quarters]
    years = [p for i, p in enumerate(shown) if i == 0 or p[:4] != shown[i - 1][:4]]
    names = {p: f"W{int(p[6:])}" if "W" in p else MONTHS[int(p[5:]) - 1][:3] for p in shown}
    return {p: [names[p], p[:4]] if p in years else [names[p]] for p in shown}


def ground(
    months: Sequence[str],
    lows: Sequence[float],
    highs: Sequence[float],
    *,
    from_zero: bool,
    share: bool = True,
    labels: Labels | None = None,
    headroom: float = 0.0,
    bars: bool = True,
) -> PeriodAxes:
    """The ground for these periods and values; the scale starts at zero, or a round step below the lowest value.

    `labels` None means months or weeks, the empty ones in between too; else `months` are all there are, in order.
    `headroom` is the part of the scale that is left free above, for words; `bars` whether sizes get room below.
    """
    periods = all_periods(months) if labels is None else tuple(months)
    named = period_labels(periods) if labels is None else labels
    top = max([*highs, 0.001]) if share else max(highs)
    floor = 0.0 if from_zero else min([*lows, top])
    if share and not from_zero and top - floor < LEAST_SPAN:
        floor = max(0.0, min((floor + top - LEAST_SPAN) / 2, 1.0 - LEAST_SPAN))
        top = max(top, floor + LEAST_SPAN)
    step = _step(max(top - floor, 0.002)) if share else _round_step(floor, top)
    low = int(floor / step + 1e-9) if share else math.floor(floor / step + 1e-9)
    high = low
    while high * step < top - 1e-9 * step:
        high += 1
    ticks = tuple(round(i * step, 9) for i in range(low, max(high, low + 1) + 1) if not share or i * step <= 1 + 1e-9)
    end = max(ticks[-1], min(top, 1.0)) if share else ticks[-1]
    end += headroom * (end - ticks[0])
    return PeriodAxes(periods, ticks[0], end, ticks, named, share, 0.17 if bars else 0.03)


def _step(span: float) -> float:
    return next(s for s in STEPS if span / s <= MOST_TICKS or s == STEPS[-1])


def _round_step(floor: float, top: float) -> float:
    """1, 2 or 5 times a power of ten, at most five of which make the span."""
    span = top - floor if top > floor else max(abs(top), 1.0)
    power = 10.0 ** math.floor(math.log10(span / MOST_TICKS))
    return next(power * m for m in (1.0, 2.0, 5.0, 10.0) if span / (power * m) <= MOST_TICKS + 1e-9)


def early_word(follow_up: bool, period: str = "month") -> str:
    """Why a period is not final: its follow-up is not over, or it is not over itself."""
    return "not yet matured" if follow_up else f"{period} not over"


def early_zone(first: str, last: str, under: PeriodAxes, *, base: Any, word: str) -> list[Any]:
    """A dashed frame over the months whose follow-up is not over, with the words above it."""
    right = under.periods.index(last) > 0.6 * len(under.periods)
    here = base.transform_filter(f"datum.month == '{last if right else first}'").transform_calculate(
        early_from=f"'{first}'", early_to=f"'{last}'", early_word=f"'{word}'"
    )
    return [
        here.mark_rect(style=EARLY).encode(
            x=under.x("early_from", edge=0),
            x2=alt.X2("early_to:O", bandPosition=1),
            y=alt.YValue(0),
            y2=alt.Y2Value("height"),
        ),
        here.mark_text(
            style="rqa-note", align="right" if right else "left", baseline="bottom", dy=-3, fontStyle="italic"
        ).encode(
            x=under.x(f"early_{'to' if right else 'from'}", edge=1 if right else 0),
            y=alt.YValue(0),
            text=alt.Text("early_word:N"),
        ),
    ]


def month_under_pointer() -> Any:
    """The selection of the month nearest to the pointer."""
    return alt.selection_point(
        name="over", fields=["month"], on="pointerover", nearest=True, empty=False, clear="pointerout"
    )


def in_panels(layers: Sequence[Any], values: Any, panels: int) -> Any:
    """The layers as one picture, or as one panel under another where there are several groups.

    Layers without data of their own draw these values, which the picture then holds once.
    """
    if panels == 1:
        return alt.layer(*layers, data=values)
    return (
        alt.layer(*layers, data=values)
        .properties(width=WIDTH, height=PANEL_HEIGHT)
        .facet(row=alt.Row("panel:N", title=None, header=alt.Header(labelOrient="top")))
        .properties(spacing=8)
    )
