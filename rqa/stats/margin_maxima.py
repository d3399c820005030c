"""The highest ratio of many simulated sets: windows are passed over by a bound that takes no logarithm."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from rqa.arguments import Numbers

if TYPE_CHECKING:
    from rqa.stats.margin_windows import WindowLayout

Reals = NDArray[np.floating[Any]]
SETS = 128
"""Sets scanned at a time: with a block of windows they fit a processor's cache."""
BLOCKS = (32, 128, 512, 1024)
"""Windows looked at one after the other; the first few, from everywhere, say how high the others must be."""
SLACK = 1.0 - 1e-4
"""Bounds are reckoned to seven digits, so a window is passed over only if its bound is clearly lower."""
EXACT = 2**24
"""Up to here whole numbers of single precision are exact."""


class MarginMaxima:
    """What the bound of each window of a layout takes, and the windows in the order in which they are looked at.

    A set's highest ratio is exact: a window is passed over only where a bound of its ratio is lower than that of
    another. Of `C` events beside and in a window that holds the share `s` of the work, `c` are inside, and
    `x = c - C s` is above 0. The Poisson ratio is `C` times the Kullback-Leibler divergence of `c / C` from `s`. Over
    `(c / C - s)^2` that is the integral of `(1 - u) / (q (1 - q))` over `u` from 0 to 1, with `q` on the way from `s`
    to `c / C`; `1 / (q (1 - q))` is convex, and so is the quotient as a function of `c / C`: it is highest at an end,
    `1 / (2 s (1 - s))` at `s` or `log(1 / s) / (1 - s)^2` at 1. With the larger, `k`, the ratio is at most `k x^2 / C`.
    The Bernoulli ratio is that of the events and that of the `N - C` jobs without one together. So it is at most
    `k x^2 (1 / C + 1 / (N - C))`, where `k` is the largest for the way up and that for the way down.
    """

    def __init__(self, layout: WindowLayout) -> None:
        self.layout = layout
        total = float(layout.events.sum())
        self.kind: type[np.floating[Any]] = np.float32 if 2.0 * total < EXACT else np.float64
        n = len(layout.first)
        stride = max(1, n // BLOCKS[0])
        order = np.concatenate([np.arange(start, n, stride) for start in range(stride)]) if n else np.arange(0)
        _, share, whole, _ = layout.sides[0]
        s = np.clip(share[order], 1e-300, 1.0 - 1e-9)
        factor = np.maximum(0.5 / (s * (1.0 - s)), -np.log(s) / (1.0 - s) ** 2)
        if layout.likelihood == "bernoulli":
            factor = np.maximum(factor, -special.log1p(-s) / s**2)
        self.order = order
        self.share, self.least = self._column(share[order]), self._column(1.0 / factor)
        self.jobs = self._column(whole[order])

    def _column(self, values: Numbers) -> Reals:
        return values.astype(self.kind)[:, None]

    def highest(self, cells: Numbers) -> Numbers:
        """Sets x cells to the highest ratio of each set, 0 where no window has more than expected."""
        best = np.zeros(len(cells))
        for start in range(0, len(cells), SETS):
            self._scan(cells[start : start + SETS], best[start : start + SETS])
        return best

    def _scan(self, cells: Numbers, best: Numbers) -> None:
        running = np.zeros((cells.shape[1] + 1, len(cells)), dtype=self.kind)
        np.cumsum(cells.T, axis=0, out=running[1:])
        layout, begun, size = self.layout, 0, iter(BLOCKS)
        room = np.empty((3, BLOCKS[-1], len(cells)), dtype=self.kind)
        block = next(size)
        while begun < len(self.order):
            some = slice(begun, begun + block)
            windows = self.order[some]
            c, total, other = (part[: len(windows)] for part in room)
            running.take(layout.last[windows] + 1, axis=0, out=c, mode="clip")
            if layout.own:
                running.take(layout.begin[windows], axis=0, out=total, mode="clip")
                np.subtract(c, total, out=total)
            else:
                total[:] = running[-1]
            running.take(layout.first[windows], axis=0, out=other, mode="clip")
            np.subtract(c, other, out=c)
            # The square of what is above the expected number, against the least square that reaches the floor.
            np.multiply(total, self.share[some], out=other)
            np.subtract(c, other, out=c)
            np.maximum(c, 0.0, out=c)
            np.square(c, out=c)
            if layout.likelihood == "bernoulli":
                np.divide(total, self.jobs[some], out=other)
                np.subtract(1.0, other, out=other)
                np.multiply(total, other, out=total)
            # Of no event in a window that holds all of the work: 0 times infinity, above which nothing lies.
            with np.errstate(invalid="ignore"):
                np.multiply(total, self.least[some], out=total)
                np.multiply(total, (best * SLACK).astype(self.kind), out=total)
            chosen, sets = np.divmod(np.flatnonzero(c > total), len(cells))
            if len(sets):
                np.maximum.at(best, sets, layout.ratios_of(running, windows[chosen], sets))
            begun, block = begun + len(windows), next(size, BLOCKS[-1])
