"""Which points set the limits: a baseline that is frozen, stages that are split, points that are set aside.

Every chart takes the same three arguments and puts them through `basis`; then it states once how limits come from
chosen points, and `Basis.by_stage` does that for each stage.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import index

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rqa.arguments import Numbers
from rqa.spc.chart import SetAside
from rqa.words import counted

Mask = NDArray[np.bool_]
Baseline = slice | ArrayLike | None
Stages = Sequence[int]
Aside = Mapping[int, str] | None

USUAL_POINTS = 20
"""Points from which limits are usually taken as settled (common practice, no source; 20 to 25 is what is taught)."""


@dataclass(frozen=True, eq=False, kw_only=True)
class BaselinePoints:
    """The points that set the limits (true), the first point of each stage, the points set aside and why."""

    baseline: Mask
    starts: tuple[int, ...]
    set_aside: tuple[SetAside, ...]

    @property
    def points(self) -> int:
        """How many points the chart has."""
        return self.baseline.shape[-1]

    @property
    def kept(self) -> Mask:
        """True for the points that are not set aside."""
        kept = np.ones(self.points, dtype=np.bool_)
        kept[[point.index for point in self.set_aside]] = False
        return kept

    def stages(self) -> Iterator[tuple[slice, Mask]]:
        """Each stage: its points, and which points of the whole chart set its limits."""
        for first, end in pairwise((*self.starts, self.points)):
            part = slice(first, end)
            chosen = np.zeros_like(self.baseline)
            chosen[..., part] = self.baseline[..., part]
            yield part, chosen

    def by_stage(self, limits: Callable[[Mask], tuple[Numbers, ...]]) -> tuple[Numbers, ...]:
        """Rows of a chart, one entry a point along the last axis, pieced together from what each stage's points set."""
        parts = [(part, limits(chosen)) for part, chosen in self.stages()]
        rows = tuple(np.array(row) for row in parts[0][1])
        for part, made in parts[1:]:
            for row, new in zip(rows, made, strict=True):
                row[..., part] = new[..., part]
        return rows

    def few(self, usable: Mask) -> tuple[str, ...]:
        """A sentence for each stage whose limits rest on fewer points than is usual."""
        sentences = []
        for number, (_, chosen) in enumerate(self.stages(), start=1):
            have = int((chosen & usable).sum())
            if have < USUAL_POINTS:
                stage = f" of stage {number}" if len(self.starts) > 1 else ""
                sentences.append(
                    f"The limits{stage} rest on {counted(have, 'point')}; {USUAL_POINTS} or more are usual, and with "
                    "fewer the limits themselves are a matter of chance."
                )
        return tuple(sentences)


def basis(
    points: int, baseline: Baseline, stages: Stages, set_aside: Aside, *, charts: int | None = None
) -> BaselinePoints:
    """Check the three arguments against the number of points.

    Parameters
    ----------
    points
        How many points the chart has.
    baseline
        The points that set the limits: a slice, or one true/false a point; None takes all of them.
    stages
        Places of the points at which a new stage begins, ascending, such as [20] to split before the 21st point.
    set_aside
        Reasons by place of the points to be left out of the limits and of the judgement.
    charts
        How many charts are made at once; their baseline may then be one true/false a chart and point.

    Raises
    ------
    ValueError
        A baseline of another length, of other than true/false, or without a point; stages out of order or outside
        the chart; a point set aside that is not there, or without a reason; a stage left without a point.
    """
    chosen = _baseline(baseline, points, charts)
    starts = _starts(stages, points)
    aside = _aside(set_aside, points)
    chosen[..., [point.index for point in aside]] = False
    chosen.setflags(write=False)
    made = BaselinePoints(baseline=chosen, starts=starts, set_aside=aside)
    if points:
        for number, (part, mask) in enumerate(made.stages(), start=1):
            if not mask.any():
                raise ValueError(
                    f"each stage needs a point that sets its limits, neither outside the baseline nor set aside: "
                    f"stage {number} (points {part.start} to {part.stop - 1}) has none"
                )
    return made


def _baseline(given: Baseline, points: int, charts: int | None) -> Mask:
    if given is None:
        return np.ones(points, dtype=np.bool_)
    if isinstance(given, slice):
        chosen = np.zeros(points, dtype=np.bool_)
        chosen[given] = True
    else:
        chosen = np.array(given)
        if chosen.dtype != np.bool_ or chosen.shape not in ((points,), (charts, points)):
            raise ValueError(
                f"baseline must be a slice or one true/false for each of the {counted(points, 'point')}: "
                f"{chosen.dtype} of shape {chosen.shape}"
            )
    if points and not chosen.any():
        raise ValueError(f"baseline must take at least one of the {counted(points, 'point')}: {given!r}")
    return chosen


def _starts(given: Stages, points: int) -> tuple[int, ...]:
    if isinstance(given, str) or not isinstance(given, Iterable):
        raise ValueError(f"stages must be a row of places: {given!r}")
    starts = tuple(_place("stages", start, points) for start in given)
    if any(later <= earlier for earlier, later in pairwise((0, *starts))):
        raise ValueError(f"stages must be ascending places after the first point: {list(starts)}")
    return (0, *starts)


def _aside(given: Aside, points: int) -> tuple[SetAside, ...]:
    if given is not None and not isinstance(given, Mapping):
        raise ValueError(f"set_aside must map the place of a point to the reason, such as {{3: 'storm'}}: {given!r}")
    aside = []
    for place, reason in (given or {}).items():
        if not isinstance(reason, str) or not reason.strip():
            raise ValueError(f"set_aside must give a reason in words for each point: {place}: {reason!r}")
        aside.append(SetAside(index=_place("set_aside", place, points), reason=reason))
    return tuple(sorted(aside, key=lambda point: point.index))


def _place(name: str, given: object, points: int) -> int:
    try:
        place = index(given)  # type: ignore[arg-type]
    except TypeError as cause:
        raise ValueError(f"{name} must name points by their place, a whole number: {given!r}") from cause
    if isinstance(given, bool) or not 0 <= place < points:
        raise ValueError(f"{name} must name points from 0 to {points - 1}: {given!r}")
    return place
