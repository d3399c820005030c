"""What the points of a chart do: their chances by zone, and, for trends, which of two points is the higher one."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.polynomial import legendre
from scipy.special import ndtr

from rqa import arguments
from rqa.arguments import Numbers
from rqa.spc.patterns import TIE

FEW_NODES, NODES = 4, 8
"""Places at which trends are followed, within a zone of less than half of all points and of more."""
MOST_JOBS, MOST_JOBS_IN_TRENDS = 10_000_000, 5_000
"""Jobs a point up to which the chances of all counts are worked out, without trends and with them."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Zone:
    """Places within one zone: the chance of a point at each, and of one lower or higher than each, by place.

    `chance` has one entry a place; `lower`[i, j] is the chance of a point at place j of this zone that lies below one
    at place i; `tie` and `higher` likewise. Each row of the three adds up to `chance`.
    """

    chance: Numbers
    lower: Numbers
    tie: Numbers
    higher: Numbers


@dataclass(frozen=True, kw_only=True)
class NormalPoints:
    """Independent normal points whose level is `shift` sigma above the centre and whose spread is `spread` sigma."""

    shift: float = 0.0
    spread: float = 1.0

    def __post_init__(self) -> None:
        arguments.number("shift", self.shift)
        arguments.positive("spread", self.spread)

    def zones(self, edges: tuple[float, ...], trends: bool) -> Iterator[Zone]:
        """The zones between the edges, from the lowest up."""
        # Counted from the nearer tail, so that far zones keep their digits.
        cuts = (np.array(edges) - self.shift) / self.spread
        for low, high in pairwise(cuts):
            chance = float(ndtr(-low) - ndtr(-high) if low > 0 else ndtr(high) - ndtr(low))
            yield _even(chance) if trends else _single(chance)


@dataclass(frozen=True, kw_only=True)
class SharePoints:
    """Shares of `size` independent jobs, on a p chart with the centre `centre`, when the true chance is `share`.

    `share` None is the centre itself. The limits are those of the chart: `width` sigma from the centre, with sigma =
    sqrt(centre (1 - centre) / size). As shares are whole counts over the size, chances come from the binomial
    distribution and not from a normal one.
    """

    size: int
    centre: float
    share: float | None = None

    def __post_init__(self) -> None:
        if arguments.whole("size", self.size, 1) > MOST_JOBS:
            raise ValueError(f"size must be at most {MOST_JOBS:,} jobs: {self.size!r}")
        arguments.share("centre", self.centre)
        if self.share is not None:
            arguments.shares("share", self.share)

    def zones(self, edges: tuple[float, ...], trends: bool) -> Iterator[Zone]:
        """The zones between the edges, from the lowest up; a count on an edge is in the zone nearer the centre."""
        if trends and self.size > MOST_JOBS_IN_TRENDS:
            raise ValueError(
                f"size must be at most {MOST_JOBS_IN_TRENDS:,} jobs where a rule looks for trends, as each two counts "
                f"are compared: {self.size}"
            )
        count = np.arange(self.size + 1)
        z = (count - self.size * self.centre) / np.sqrt(self.size * self.centre * (1.0 - self.centre))
        chance = _binomial(self.size, self.centre if self.share is None else self.share)
        # An edge of -0.0 is below the centre line.
        cuts = np.copysign(np.abs(np.array(edges)) + TIE, edges)
        place = np.searchsorted(cuts, z, side="right") - 1
        for zone in range(len(edges) - 1):
            here = chance[place == zone]
            yield _steps(here) if trends else _single(float(here.sum()))


Points = NormalPoints | SharePoints


def _binomial(size: int, share: float) -> Numbers:
    """Chances of 0 to `size` events, each from the one before it; adding up to 1."""
    if share in (0.0, 1.0):
        return np.eye(size + 1)[round(size * share)]
    count = np.arange(size)
    logs = np.cumsum(np.log((size - count) / (count + 1.0)) + np.log(share) - np.log1p(-share))
    chance = np.exp(np.concatenate(([0.0], logs)) - max(logs.max(), 0.0))
    return chance / chance.sum()


def _single(chance: float) -> Zone:
    one = np.array([[chance]])
    return Zone(chance=one[0], lower=one, tie=one, higher=one)


def _even(chance: float) -> Zone:
    """Places of a zone of a continuous distribution, in terms of the chance below them, at Gauss-Legendre nodes.

    In these terms points are uniform, what happens next is a smooth function of the latest place, and the chance
    below a place is the integral of the interpolating polynomials up to it.
    """
    size = FEW_NODES if chance < 0.5 else NODES
    node, weight = legendre.leggauss(size)
    # Integrals of the Legendre polynomials from -1 up to each node: (P_(k+1) - P_(k-1)) / (2 k + 1), with P_(-1) = -1.
    high = legendre.legvander(node, size)
    low = np.column_stack((-np.ones(size), high[:, : size - 1]))
    upto = (high[:, 1:] - low) / (2.0 * np.arange(size) + 1.0)
    lower = upto @ np.linalg.inv(high[:, :size]) / 2.0
    weight = weight / 2.0
    return Zone(
        chance=chance * weight,
        lower=chance * lower,
        tie=np.zeros((size, size)),
        higher=chance * (weight - lower),
    )


def _steps(chance: Numbers) -> Zone:
    """Places of a zone of whole counts: the counts themselves."""
    full = np.broadcast_to(chance, (len(chance), len(chance)))
    return Zone(chance=chance, lower=np.tril(full, -1), tie=np.diag(chance), higher=np.triu(full, 1))
