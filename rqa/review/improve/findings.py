"""Where to look: the month's findings, as the page lists them."""

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from rqa.answers.core.finding import Finding
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import Grounds, Sentence
from rqa.answers.improve.finding_words import first_signs, of_size
from rqa.answers.improve.findings import NO_LOTS, MonthFindings, sizes_of
from rqa.answers.improve.overall_findings import AGAINST
from rqa.review.facts import Pointer, Verdict
from rqa.review.improve.verdicts import points
from rqa.words import count, counted, estimate, fixed, listed, plural

PARTS = (
    (frozenset({"test", "station", "study"}), "believed"),
    (frozenset({"step", "breach", "lot", "part_no"}), "wrong"),
    (frozenset({"bench", "site", "tool"}), "people"),
    (frozenset({"model", "procedure"}), "figures"),
)
"""Where the annex tells more of a finding, by what it names; the first that fits."""
MOST = 8
"""Findings listed; a longer list is not acted on."""


def places_to_look(
    found: MonthFindings,
    actions: Mapping[str, str],
    there: Grounds,
    persons: frozenset[str],
    headline: Sequence[Verdict] = (),
    elsewhere: Mapping[str, Collection[str]] = MappingProxyType({}),
) -> tuple[tuple[Pointer, ...], Sentence, tuple[str, ...]]:
    """The first of the month's findings, what to say where there is none, and what was compared and what is gone.

    None names a person: `persons` are the groupings that do. `actions` are those that answer a finding, as text by the
    finding's id. `headline` are the verdicts on the month's figures: what they call better or worse is told there, of
    fewer comparisons, and is not said to be gone. `elsewhere` are the ids of the findings that other sections tell, by
    their heading.
    """
    told = [
        Pointer(f.id, _state(state, actions.get(f.id, "")), f.where, f.what, _size(f), f.caution, f.check, place_of(f))
        for f, state in zip(found.findings, found.table["state"].to_list(), strict=True)
        if not persons & set(f.scope)
    ]
    looked = [n for n in found.notes if not isinstance(n, Sentence)][:1]
    looked += [of_size(found.stated, sizes_of({}, found.settings.get("least")))] * bool(found.stated)
    looked += [*first_signs(found.signs, persons), *(n for n in found.notes if n == NO_LOTS)]
    looked += [*found.lacking, *(found.counted.notes if found.counted else ())]
    if len(told) > MOST:
        looked.append(_more([p.id for p in told[MOST:]], elsewhere))
    people = len(found.findings) - len(told)
    held = {AGAINST.format(v.measure) for v in headline if v.word in ("better", "worse")}
    gone = [f"{f.where}: {f.what} ({f.id})" for f in found.gone if not persons & set(f.scope) and f.kind not in held]
    if gone:
        more = f"; and {len(gone) - MOST} more" if len(gone) > MOST else ""
        looked.append(f"No longer statistically clear, as it was a month before. {'; '.join(gone[:MOST])}{more}.")
    if people:
        each = (
            "more concerns the work of a single person: it is"
            if people == 1
            else "more concern single persons: they are"
        )
        looked.append(f"{people} {each} for coaching and not shown here.")
    return tuple(told[:MOST]), Sentence("") if told else _quiet(found, people, there), tuple(looked)


def place_of(f: Finding) -> str:
    """The part of the annex that tells more of what a finding names."""
    return next((part for names, part in PARTS if names & set(f.scope)), "words")


def _more(ids: Sequence[str], elsewhere: Mapping[str, Collection[str]]) -> str:
    """Where the findings stand that are not listed."""
    there = {heading: len(set(ids) & set(told)) for heading, told in elsewhere.items()}
    said = [f"{count(n)} {plural(n, 'stands', 'stand')} under “{heading}”" for heading, n in there.items() if n]
    left = len(ids) - sum(there.values())
    said += [f"{count(left)} {plural(left, 'is', 'are')} in the notebooks"] if left else []
    return f"Of {counted(len(ids), 'more finding')} {listed(said)}."


def _quiet(found: MonthFindings, people: int, there: Grounds) -> Sentence:
    made = sum(found.compared.values())
    if people:
        said = "Nothing to act on but the work of single persons"
    else:
        said = "Nothing to act on"
    told = there.claim(
        f"{said}: the one comparison is not statistically clear." if made == 1
        else f"{said}: of {counted(made, 'comparison')} none is statistically clear.", *SEEN, "final_comebacks",
        about="whether there is anything to act on",
        among=(made, "comparisons of groups large enough"),
    )
    if not told.told and made:
        if made == 1:
            return told.followed("The one comparison that could be made is not statistically clear.")
        return told.followed(f"Of the {counted(made, 'comparison')} that could be made none is statistically clear.")
    return told


def _state(state: str, action: str) -> str:
    return f"{state}, answered by {action}" if action else state


def _size(f: Finding) -> str:
    """How much it is, with its interval."""
    if f.measure == "difference of shares":
        said = f"{points(f.size)} points (95 % interval {points(f.low)} to {points(f.high)})"
    else:
        said = f"{f.measure} {estimate(f.size)} (95 % interval {estimate(f.low)} to {estimate(f.high)})"
    if f.worse and f.avoided is not None and f.avoided >= 0.5:
        said += (
            f"; like what it is compared with, it would have had some {counted(fixed(f.avoided, 0), 'come-back')} fewer"
        )
    return said
