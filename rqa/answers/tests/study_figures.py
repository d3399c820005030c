"""The figures of one study: variance components of a gauge, agreement of verdicts, each with limits."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from rqa.answers.tests.study_layout import Study, crossed

if TYPE_CHECKING:
    from rqa.stats import FleissKappa, GaugeStudy

GOOD, FIT = 0.1, 0.3
"""Shares of tolerance, or of the total, up to which a gauge is good, and fit for some uses (common practice)."""
CATEGORIES = 5
"""Kinds of unit that a gauge must tell apart to watch a process (common practice)."""
PASS, FAIL = "pass", "fail"


@dataclass(frozen=True)
class StudyFigure:
    """One figure with its limits; `share` is a component's part of the variance, or the share that agreed."""

    figure: str
    method: str
    value: float
    low: float
    high: float
    share: float
    cases: int


@dataclass(frozen=True, eq=False)
class GaugeFigures:
    """What a study of measured values shows, or why it shows nothing; `missing` names what was left out."""

    lines: tuple[StudyFigure, ...]
    found: "GaugeStudy | None"
    p_appraisers: float
    left_out: int
    missing: str
    refused: str

    @property
    def verdict(self) -> str:
        """What the trade makes of it: by the tolerance where there is one, else by the total."""
        if self.found is None:
            return ""
        share = self.found.of_tolerance[0]
        share = self.found.gauge_of_total[0] if np.isnan(share) else share
        if np.isnan(share):
            return "no scatter at all"
        return "good" if share <= GOOD else "fit for some uses" if share <= FIT else "not fit"


def gauge_figures(study: Study, tolerance: float | None, level: float) -> GaugeFigures:
    """Repeatability, reproducibility, gauge, parts and total, by analysis of variance and by averages and ranges."""
    from rqa.stats import gauge_rr

    full = crossed(study)
    if full.refused:
        return GaugeFigures((), None, float("nan"), full.left_out, full.missing, full.refused)
    made = gauge_rr(full.values, tolerance=tolerance, level=level)
    lines = []
    for r in (made, gauge_rr(full.values, method="range", tolerance=tolerance, level=level)):
        for i, component in enumerate(r.components):
            lines.append(
                StudyFigure(component, r.method, float(r.sigma[i]), float(np.sqrt(r.low[i])), float(np.sqrt(r.high[i])),
                     float(r.contribution[i]), r.parts)
            )
    lines += _biases(study, level)
    return GaugeFigures(tuple(lines), made, _appraisers_differ(made), full.left_out, full.missing, "")


def _appraisers_differ(r: "GaugeStudy") -> float:
    """p of no difference between appraisers, against the interaction, or against all scatter where that is pooled."""
    if r.appraisers < 2:
        return float("nan")
    who, _, both, scatter = r.squares
    a, _, b, e = r.degrees
    below, free = (both + scatter, b + e) if r.pooled else (both, b)
    return float(special.fdtrc(a, free, who / a / (below / free))) if below > 0 else float("nan")


def _biases(study: Study, level: float) -> list[StudyFigure]:
    """How far each appraiser reads from the reference, from the means of the units."""
    made = []
    known = {unit: number for unit, text in study.references.items() if (number := _number(text)) is not None}
    for who in study.appraisers:
        off = [np.mean(study.values[u, who]) - known[u] for u in known if (u, who) in study.values]
        if len(off) < 2:
            continue
        mean, error = float(np.mean(off)), float(np.std(off, ddof=1) / np.sqrt(len(off)))
        reach = float(special.stdtrit(len(off) - 1, (1.0 + level) / 2.0)) * error
        made.append(StudyFigure(f"bias of {who}", "mean", mean, mean - reach, mean + reach, float("nan"), len(off)))
    return made


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def verdict_figures(study: Study, level: float) -> list[StudyFigure]:
    """Agreement of verdicts: between appraisers, of each with itself, of each with the reference, beyond chance.

    Between appraisers and with the reference each appraiser's first verdict of a unit counts, as later ones are no
    independent cases.
    """
    from rqa.stats import fleiss_kappa, proportion_interval

    first = {place: found[0] for place, found in study.verdicts.items()}
    who = sorted({a for _, a in first})
    words = sorted({*(v for found in study.verdicts.values() for v in found), *_verdict_references(study)})
    lines = []
    if len(who) > 1:
        table = _tally([[first[u, a] for a in who if (u, a) in first] for u in study.units], words)
        lines.append(_fleiss("all appraisers", fleiss_kappa(table, level=level)))
    for a in who:
        own = [study.verdicts[u, a] for u in study.units if (u, a) in study.verdicts]
        if max(len(found) for found in own) > 1:
            lines.append(_fleiss(f"{a} with itself", fleiss_kappa(_tally(own, words), level=level)))
    for a, b in combinations(who, 2) if len(who) > 2 else ():
        both = [(first[u, a], first[u, b]) for u in study.units if (u, a) in first and (u, b) in first]
        lines.append(_cohen(f"{a} with {b}", both, words, level))
    truth = _verdict_references(study, by_unit=True)
    for a in who:
        pairs = [(first[u, a], truth[u]) for u in study.units if (u, a) in first and u in truth]
        if not pairs:
            continue
        lines.append(_cohen(f"{a} with the reference", pairs, words, level))
        if set(words) <= {PASS, FAIL}:
            for figure, is_so, wrong in ((f"{a} passes faulty", FAIL, PASS), (f"{a} fails good", PASS, FAIL)):
                of = [said for said, truly in pairs if truly == is_so]
                r = proportion_interval(successes=of.count(wrong), trials=len(of), level=level)
                share = float(r.estimate)
                lines.append(StudyFigure(figure, "share", share, float(r.low), float(r.high), share, len(of)))
    return lines


def _verdict_references(study: Study, *, by_unit: bool = False) -> "dict[str, str]":
    """References of units that were judged, by unit; without `by_unit` each is its own key."""
    judged = {unit for unit, _ in study.verdicts}
    kept = {unit: said for unit, said in study.references.items() if unit in judged}
    return kept if by_unit else {said: said for said in kept.values()}


def _tally(judged: Iterable[Sequence[str]], words: Sequence[str]) -> "np.ndarray[tuple[int, int], np.dtype[np.int64]]":
    columns = [*words, *(["other"] if len(words) < 2 else [])]
    return np.array([[list(found).count(word) for word in columns] for found in judged], dtype=np.int64)


def _fleiss(figure: str, r: "FleissKappa") -> StudyFigure:
    return StudyFigure(figure, "Fleiss", r.kappa, r.low, r.high, r.observed, r.units)


def _cohen(figure: str, pairs: Sequence[tuple[str, str]], words: Sequence[str], level: float) -> StudyFigure:
    from rqa.stats import cohen_kappa

    size = max(len(words), 2)
    table = np.zeros((size, size), dtype=np.int64)
    for one, two in pairs:
        table[words.index(one), words.index(two)] += 1
    r = cohen_kappa(table, level=level)
    return StudyFigure(figure, "Cohen", r.kappa, r.low, r.high, r.observed, len(pairs))
