"""What a careful reader must know of a comparison: how it was made, what it leaves out, and what it is not for."""

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.compare.within_people import ALLOWED_FOR, NOT_NAMED, NOT_TOLD_APART
from rqa.answers.core.job_clusters import TOLD_FROM
from rqa.answers.core.persons import PEOPLE
from rqa.words import counted, counted_of, plural

if TYPE_CHECKING:
    from rqa.answers.compare.expected_counts import Expected, Outcome
    from rqa.answers.core.grounds import Grounds
    from rqa.stats import Overdispersion

MUCH_OF_THE_WORK = 0.25
"""Share of all comparable work from which on a group is compared to a good part with itself."""
SHOWN_REVERSALS = 3
SEVERAL = {
    "technician": "technicians", "bench": "benches", "tool": "tools", "station": "stations", "site": "sites",
}
PLACES = "A {who} that stands out is a place to go and watch, not a verdict on who works there."


def notes_of(
    *,
    who: str,
    outcome: "Outcome",
    mix: Sequence[str],
    people: NDArray[Any],
    names: Sequence[str],
    found: "Expected",
    min_cases: int,
    enough: NDArray[np.bool_],
    dispersion: "Overdispersion | None",
    verdicts: NDArray[Any],
    unknown: int,
    by_job: float,
    given: tuple[str, ...],
    place: str,
    there: "Grounds",
    rests_on: Sequence[str],
    e_value: Sequence[tuple[float | None, float | None]],
) -> tuple[str, ...]:
    """The notes of a comparison, most needed first; `place` is the work that the expectation comes from."""
    if not names:
        return given
    several, one = SEVERAL[who], outcome.work.removesuffix("s")
    if len(names) == 1:
        single = f"Cannot be told: how {several} differ in {outcome.events}, as only one {who} is left to compare."
        return (single, *([PEOPLE] if who == "technician" else []), *given)
    notes = [
        f"observed counts {outcome.events}: above expectation means more of them than {_than(people)} {place}. "
        "Rows are in the order of names; two ratios, each against its own mix, make no rank.",
        _how(found, mix, outcome, place) + _at_own_level(people),
        *_of_people(who, people),
    ]
    alone = int(found.no_comparator[people != ALLOWED_FOR].sum())
    if alone:
        notes.append(
            f"{counted(alone, one)} {plural(alone, 'is of a kind', 'are of kinds')} that nobody else of those compared "
            f"does: there is nothing to compare {plural(alone, 'it', 'them')} with, so left out."
        )
    notes += _left_out(who, one, int(found.no_comparator[people == ALLOWED_FOR].sum()))
    if unknown:
        notes.append(
            f"{counted(unknown, one)} {plural(unknown, 'names', 'name')} no {who}: counted in what the work brings, "
            "without a row."
        )
    compared = int((verdicts != "too little work to say").sum())
    few = len(names) - compared
    if few:
        notes.append(
            f"{few:,} of {counted(len(names), who, several)} {plural(few, 'has', 'have')} fewer than {min_cases} "
            f"comparable {outcome.work}: too little work to say."
        )
    if compared and not int(found.observed.sum()):
        cases = int(found.exposures.sum())
        notes.append(
            there.claim(
                f"There were no {outcome.events} among {counted_of(cases, outcome.work)}: nobody can stand out, and "
                "there is no ratio.",
                *rests_on, about=f"{outcome.events}, by {who}", among=(cases, outcome.work),
            )
        )
    if by_job >= TOLD_FROM:
        notes.append(
            f"Checks of one job pass and fail together: the failures vary up to {by_job:.2f} times as much as those of "
            "single checks would. p-values, limits and verdicts allow for that; the job is what is sampled."
        )
    notes += _spread_said(there, rests_on, several, found, enough, dispersion, verdicts)
    if compared:
        notes.append(
            f"p_adjusted allows for the {counted(compared, who, several)} compared (Benjamini and Hochberg 1995): of "
            "those called above or below, one in twenty at most is expected to be due to chance."
        )
    notes += _unseen(names, verdicts, e_value)
    notes += _much(names, found)
    notes += _reversals(names, found, enough)
    within = (*_person(people), *mix)
    notes.append(
        f"Work is compared within {', '.join(within) or 'one kind alone'}; what else makes it unlike (the state of the "
        "units, lots of parts, the hour, who is learning) is not allowed for. Ask what differs before asking who."
    )
    notes.append(PEOPLE if who == "technician" else f"{PLACES.format(who=who)} {PEOPLE}")
    return (*notes, *given)


def _than(people: NDArray[Any]) -> str:
    """What a group is compared with, up to the place."""
    told = people == ALLOWED_FOR
    if not told.any():
        return "the same work brings in"
    if told.all():
        return "the same people have on the same work in"
    return "the same work brings (where people are allowed for: than the same people have on it) in"


def _of_people(who: str, people: NDArray[Any]) -> list[str]:
    """Whether places are told apart from the people who work there."""
    told, not_told = int((people == ALLOWED_FOR).sum()), int((people == NOT_TOLD_APART).sum())
    not_named = int((people == NOT_NAMED).sum())
    said = []
    if told:
        said.append(
            f"{told:,} of {counted(len(people), who, SEVERAL[who])} {plural(told, 'is', 'are')} compared with the same "
            f"people's work elsewhere, so that a {who} is not blamed for its people."
        )
    if not_told:
        said.append(
            f"The people at {not_told:,} of {counted(len(people), who, SEVERAL[who])} hardly work elsewhere: what "
            f"stands out there may be the {who} or its people."
        )
    if not_named:
        said.append(
            f"At {not_named:,} of {counted(len(people), who, SEVERAL[who])} too little of the work names who did it: "
            f"what stands out there may be the {who} or its people."
        )
    return said


def _at_own_level(people: NDArray[Any]) -> str:
    """What the expectation is where people are allowed for."""
    told = people == ALLOWED_FOR
    if not told.any():
        return ""
    where = "This" if told.all() else "Where people are allowed for, this"
    return f" {where} is taken times each person's own level, that is their events over what their mix brings anywhere."


def _left_out(who: str, one: str, number: int) -> list[str]:
    """What cannot be compared with the same people's work elsewhere."""
    if not number:
        return []
    return [
        f"{counted(number, one)} cannot be compared with the same people's work at another {who}, so left out: who did "
        f"{plural(number, 'it works', 'them works')} at one {who} alone or is not named, or no other {who} has work of "
        "the kind."
    ]


def _person(people: NDArray[Any]) -> tuple[str, ...]:
    told = people == ALLOWED_FOR
    if not told.any():
        return ()
    return ("technician",) if told.all() else ("technician (where people are allowed for)",)


def _how(found: "Expected", mix: Sequence[str], outcome: "Outcome", place: str) -> str:
    kinds = " × ".join(mix) or "the whole"
    thin = f"{found.sparse_share * 100:.0f} % of the {outcome.work} are of kinds in which the others have fewer than 10"
    if found.method == "stratified":
        return f"expected = each kind's share in {place} ({kinds}), on the group's own mix; {thin}."
    apart = (
        f"; {counted(found.apart, 'kind')} it does not fit {plural(found.apart, 'has a share', 'have shares')} of "
        "their own"
        if found.apart
        else ""
    )
    return (
        f"expected comes from a binomial model of {', '.join(mix)} (statsmodels GLM, logistic, without interactions), "
        f"{'as asked; ' if found.asked else 'since '}{thin}{apart}."
    )


def _spread_said(
    there: "Grounds",
    rests_on: Sequence[str],
    several: str,
    found: "Expected",
    enough: NDArray[np.bool_],
    dispersion: "Overdispersion | None",
    verdicts: NDArray[Any],
) -> list[str]:
    from rqa.stats import benjamini_hochberg

    if dispersion is None or dispersion.phi <= 1.0:
        if dispersion is None:
            return []
        said = f"The {several} differ no more than chance alone would set them apart."
        among = (int(enough.sum()), f"{several} with enough work")
        return [there.claim(said, *rests_on, about=f"whether the {several} differ", among=among)]
    plain = benjamini_hochberg(p_values=np.where(enough, found.p_value, np.nan)).found.sum()
    called = sum(n for verdict, n in Counter(verdicts.tolist()).items() if verdict.split()[0] in ("above", "below"))
    return [
        f"The {several} as a whole vary {dispersion.phi:.2f} times as much as chance alone would make them (phi, after "
        f"Spiegelhalter 2005, a tenth at each end drawn in); p-values and funnel limits allow for that. {called} stand "
        f"out with it, {plain} would without. A wide spread is a question to the process before it is one to anybody."
    ]


def _unseen(
    names: Sequence[str], verdicts: NDArray[Any], e_value: Sequence[tuple[float | None, float | None]]
) -> list[str]:
    """How strong something that was not measured must be, to be all that sets those apart that stand out."""
    told = [
        (limit, f"{name} {e:.1f} ({limit:.1f})")
        for name, verdict, (e, limit) in zip(names, verdicts.tolist(), e_value, strict=True)
        if verdict.split()[0] in ("above", "below") and e is not None and limit is not None
    ]
    if not told:
        return []
    weakest = [said for _, said in sorted(told)[:SHOWN_REVERSALS]]
    return [
        "e_value: something that was not measured explains a ratio away only if it is at least so many times as common "
        "in the group's work as in all work, the group's own included (of a group below expectation: in all work as in "
        "the group's), and makes the event at least so many times as likely; in brackets what takes the limit to 1 "
        f"(VanderWeele and Ding 2017). {'Weakest: ' if len(told) > len(weakest) else ''}{', '.join(weakest)}."
    ]


def _much(names: Sequence[str], found: "Expected") -> list[str]:
    work = int(found.exposures.sum())
    much = [name for name, n in zip(names, found.exposures.tolist(), strict=True) if n > MUCH_OF_THE_WORK * work]
    if not much or len(names) < 2:
        return []
    shown = ", ".join(much[:5])
    return [
        f"{shown} did more than a quarter of the work, so the ratio is partly against itself and lies nearer 1 than "
        "the difference from the others; the p-value is not touched by that."
    ]


def _reversals(names: Sequence[str], found: "Expected", enough: NDArray[np.bool_]) -> list[str]:
    """Pairs that the plain shares put in one order and the comparison in the other."""
    from rqa.stats import order_reversals

    seen = np.flatnonzero(enough & (found.expected > 0))
    if seen.size < 2:
        return []
    n, x, e = (a[seen].astype(np.float64) for a in (found.exposures, found.observed, found.expected))
    share, ratio = x / n, x / e
    pairs = order_reversals(
        raw=share,
        adjusted=ratio,
        raw_error=np.sqrt(share * (1.0 - share) / n),
        adjusted_error=np.sqrt(found.variance[seen]) / e,
    )
    said = []
    for a, b in list(zip(pairs.higher_raw.tolist(), pairs.higher_adjusted.tolist(), strict=True))[:SHOWN_REVERSALS]:
        one, other = names[seen[a]], names[seen[b]]
        said.append(
            f"The plain figures mislead: {one} has {share[a]:.1%} and {other} {share[b]:.1%}, yet against their own "
            f"mix {one} has {ratio[a]:.2f} times what was expected and {other} {ratio[b]:.2f} (Simpson's reversal)."
        )
    more = pairs.higher_raw.size - SHOWN_REVERSALS
    return said + [f"{counted(more, 'more pair turns', 'more pairs turn')} round like that."] * (more > 0)
