"""A finding: one thing an analysis has compared and can state, with its size, its evidence and what to do next."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from rqa.stats import benjamini_hochberg
from rqa.words import NAMES, spoken

ALLOWED = 0.05
"""Share of chance allowed among the findings named together."""
IN_A_YEAR, PAGES = 0.1, 12
"""Share of years without anything to be found in which a page may still name something; pages in a year."""
RELEVANT: Mapping[str, float] = {"ratio": 1.1, "sd": 0.25}
"""Sizes below which a finding is not worth acting on, however sure it is: how many times as often (or as seldom) as
where it is compared; for readings the difference (of a trend that of a year) in standard deviations of single ones."""
WHOLE = "the whole depot"
PEOPLE = "; figures about people are for coaching and for changing the process, no verdict on a person"
"""Ends the caution of a finding about a person."""


@dataclass(frozen=True)
class Finding:
    """One comparison that was made, as a statement; whether it is statistically clear is judged over a whole family.

    `kind` names the analysis and what it compared, such as "burst" or "come-backs by bench"; `scope` says where, by
    filter: {"model": "Marl-10", "step": "reseat display cable"}, and `where` in words. `what` is a plain sentence about
    that place with its numbers, without the place and the full stop. `size` with `low` and `high` is the difference or
    ratio that `measure` names; `worse` whether it is on the bad side. `jobs` stand behind it. `avoided` is how many
    come-backs fewer there would have been had the place been like what it was compared with, None where that makes no
    sense. `p_value`: how often chance alone brings as much. `either_way`: told on the good side too; else only when
    worse, as beside one bad place all others look better. `mirrored`: the p-value counts both sides, of which only the
    worse is told; the family is then judged by the worse side alone, so that what looks better lends no weight.
    `months`: first and last of those looked at in all. `events`: how many of the `jobs`, or of the checks or runs that
    `jobs` counts, are what the finding speaks of; None where it is not about a share. `relative`: how many times as
    often the bad side is met as where it is compared, where `size` itself is no ratio; `in_sd`: a difference of
    readings, of a trend that of a year, in standard deviations of single readings. By these its relevance is judged.
    `when`: the weeks or months of something that did not last, in words.
    """

    kind: str
    scope: Mapping[str, str]
    what: str
    measure: str
    size: float
    low: float
    high: float
    worse: bool
    jobs: int
    p_value: float
    caution: str
    check: str
    avoided: float | None = None
    either_way: bool = False
    mirrored: bool = False
    months: tuple[date, date] | None = None
    events: int | None = None
    relative: float | None = None
    in_sd: float | None = None
    when: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "scope", MappingProxyType(dict(self.scope)))

    @property
    def where(self) -> str:
        """The scope in words: "step reseat display cable, model Marl-10"; the whole depot where there is none."""
        return ", ".join(f"{NAMES.get(name, spoken(name))} {spoken(self.scope[name])}" for name in self.scope) or WHOLE

    @property
    def id(self) -> str:
        """The same in every month for the same kind of finding at the same place."""
        place = "".join(f"\x1f{name}\x1e{self.scope[name]}" for name in sorted(self.scope))
        return "F-" + hashlib.sha256(f"{self.kind}{place}".encode()).hexdigest()[:8]


def relevant(f: Finding, least: Mapping[str, float] = RELEVANT) -> bool:
    """Whether a finding is of a size to act on; one whose size is on no such scale always is."""
    if f.in_sd is not None:
        return not abs(f.in_sd) < least["sd"]
    ratio = f.size if f.relative is None and _is_ratio(f.measure) else f.relative
    return ratio is None or not 1.0 / least["ratio"] < ratio < least["ratio"]


def _is_ratio(measure: str) -> bool:
    return "ratio" in measure or measure.startswith("observed") or "multiple" in measure


def _judged_by(f: Finding) -> float:
    """The p-value that the family is judged by."""
    if not f.mirrored:
        return f.p_value
    return f.p_value / 2 if f.worse else 1 - f.p_value / 2


def judged(
    stated: Iterable[Finding], allowed: float = ALLOWED, least: Mapping[str, float] = RELEVANT, surest: float = 1.0
) -> tuple[tuple[Finding, float], ...]:
    """Those of a family of statements that hold and are of a size to act on, each with its adjusted p-value.

    All are judged together (Benjamini and Hochberg 1995), the small ones too. None holds unless the adjusted p-value of
    the surest is at most `surest`.
    """
    family = tuple(stated)
    if not family:
        return ()
    found = benjamini_hochberg(p_values=[_judged_by(f) for f in family], allowed=allowed)
    adjusted = found.p_adjusted.tolist()
    if min(adjusted) > surest:
        return ()
    told = zip(family, adjusted, found.found.tolist(), strict=True)
    return tuple((f, p) for f, p, sure in told if sure and (f.worse or f.either_way) and relevant(f, least))


def judged_for_page(
    stated: Iterable[Finding], least: Mapping[str, float] = RELEVANT
) -> tuple[tuple[Finding, float], ...]:
    """Those that a month's page names: none, unless the surest is too sure for a year without anything to be found."""
    return judged(stated, least=least, surest=IN_A_YEAR / PAGES)


def more_than_luck(stated: Iterable[Finding], allowed: float = ALLOWED) -> tuple[Finding, ...]:
    """Those of a family of statements that hold, false ones kept to the share allowed."""
    return tuple(f for f, _ in judged(stated, allowed))
