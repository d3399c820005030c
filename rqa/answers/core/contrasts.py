"""A place compared with its like: events out of cases on both sides, as a statement with its evidence."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from rqa.answers.core.finding import Finding
from rqa.words import count, percent

SMALLEST = 20
"""Groups of fewer cases are left out: too little to say, and too easily one person."""


@dataclass(frozen=True)
class Contrast:
    """One group against its comparison: `events` out of `size`, and the same of the others.

    `what` is the measure in words, `against` what it is compared with; `kind` and `scope` are those of the finding.
    `comebacks`: whether the events are come-backs, so that fewer of them are something gained.
    """

    kind: str
    scope: Mapping[str, str]
    what: str
    events: int
    size: int
    other_events: int
    other_size: int
    against: str
    up_is_good: bool
    caution: str
    check: str
    comebacks: bool = True
    either_way: bool = False

    @property
    def share(self) -> float:
        """The group's own share."""
        return self.events / self.size

    @property
    def other_share(self) -> float:
        """The share it is compared with."""
        return self.other_events / self.other_size

    @property
    def worse(self) -> bool:
        """Whether the group's share lies on the bad side of the other."""
        return self.share < self.other_share if self.up_is_good else self.share > self.other_share

    @property
    def _word(self) -> str:
        return "worse" if self.worse else "better"

    @property
    def p_value(self) -> float:
        """How often chance alone would set the two as far apart: Fisher's exact test, two-sided.

        Where only the worse side is told, it is twice the chance of as much on the side seen, so that half of it is the
        chance of that side. The usual two-sided sum has hardly any of the other side where events are rare.
        """
        of = self.events, self.size, self.other_events, self.other_size
        return _p_value(*of) if self.either_way else _twice_the_tails((of,))[0]

    def stated(self) -> Finding:
        """The contrast as a finding: the difference of the shares with Newcombe's interval."""
        return next(all_stated((self,)))

    def _stated(self, size: float, low: float, high: float, p_value: float) -> Finding:
        return Finding(
            kind=self.kind,
            scope=self.scope,
            what=(
                f"{self.what} {_share(self.events, self.size)}, "
                f"{self._word} than {_share(self.other_events, self.other_size)} {self.against}"
            ),
            measure="difference of shares",
            size=size,
            low=low,
            high=high,
            worse=self.worse,
            jobs=self.size,
            p_value=p_value,
            caution=self.caution,
            check=self.check,
            avoided=max(0.0, self.events - self.size * self.other_share) if self.comebacks else None,
            either_way=self.either_way,
            mirrored=not self.either_way,
            events=self.events,
            relative=bad_ratio(self.events, self.size, self.other_events, self.other_size, not self.up_is_good),
        )


def bad_ratio(events: int, size: int, other_events: int, other_size: int, more_is_bad: bool) -> float:
    """How many times as often the bad side is met as on the other side; infinity where it is not met there."""
    bad, other_bad = (events, other_events) if more_is_bad else (size - events, other_size - other_events)
    return bad * other_size / (size * other_bad) if other_bad else float("inf") if bad else 1.0


def all_stated(contrasts: Iterable[Contrast], level: float = 0.95) -> Iterator[Finding]:
    """The contrasts as findings; their intervals are worked in one call, and so are exact tails."""
    from rqa.stats import difference_interval

    each = tuple(contrasts)
    counts = [(c.events, c.size, c.other_events, c.other_size) for c in each]
    x1, n1, x2, n2 = zip(*counts, strict=True) if counts else ((), (), (), ())
    apart = difference_interval(successes1=x1, trials1=n1, successes2=x2, trials2=n2, level=level)
    tails = iter(_twice_the_tails([of for c, of in zip(each, counts, strict=True) if not c.either_way]))
    p_values = [c.p_value if c.either_way else next(tails) for c in each]
    limits = zip(apart.estimate.tolist(), apart.low.tolist(), apart.high.tolist(), p_values, strict=True)
    return (c._stated(*of) for c, of in zip(each, limits, strict=True))


@lru_cache(maxsize=100_000)
def _p_value(events: int, size: int, other_events: int, other_size: int) -> float:
    """Most pairs are met again when lots are counted anew."""
    from rqa.stats import proportion_test

    found = proportion_test(successes1=events, trials1=size, successes2=other_events, trials2=other_size)
    return float(found.p_value)


def _twice_the_tails(counts: Sequence[tuple[int, int, int, int]]) -> list[float]:
    """Twice the smaller tail of each pair, none above 1: all in one sweep, as a sweep costs more than a pair."""
    import numpy as np

    from rqa.stats.stratified import exact_p_of_first

    made = exact_p_of_first([
        (np.array([[events], [other_events]]), np.array([[size], [other_size]]))
        for events, size, other_events, other_size in counts
    ])
    return [1.0 if np.isnan(p_value) else p_value for p_value, _, _ in made]


def _share(events: int, size: int) -> str:
    return f"{percent(events / size)} ({count(events)} of {count(size)})"


def enough(*sizes: int) -> bool:
    """Whether every side has cases enough to be compared."""
    return all(s >= SMALLEST for s in sizes)


Group = tuple[tuple[Any, ...], tuple[int, int], tuple[int, int]]


def each_against_rest(
    totals: Mapping[tuple[Any, ...], tuple[int, int]], *, alike: int = 0
) -> Iterator[Group]:
    """Each group large enough, its events and cases, and those of all others whose first `alike` names are the same.

    Of two groups both: each is judged by its worse side, so that the better one lends no weight, and the worse one is
    not chosen by its own figures.
    """
    events, cases = Counter[Any](), Counter[Any]()
    for key, (e, n) in totals.items():
        events[key[:alike]] += e
        cases[key[:alike]] += n
    for key, (e, n) in totals.items():
        kin = key[:alike]
        rest = (events[kin] - e, cases[kin] - n)
        if enough(n, rest[1]):
            yield key, (e, n), rest
