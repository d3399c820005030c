"""What is said beside a month's findings: how they were judged, how large they must be, of which months they are."""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from datetime import date

from rqa.answers.core.finding import ALLOWED, IN_A_YEAR, PAGES, Finding, judged_for_page
from rqa.words import count, counted, month_name, plural


def how_judged(compared: Counter[str]) -> tuple[str, str]:
    """How many comparisons were made, how they were judged, and which they are."""
    kinds = "; ".join(f"{kind} ({count(n)})" for kind, n in sorted(compared.items()))
    return (
        f"{counted(compared.total(), 'comparison')} of {counted(len(compared), 'kind')} "
        f"{plural(compared.total(), 'was', 'were')} made and judged together (Benjamini and Hochberg 1995): of the "
        f"findings, {ALLOWED * 100:.0f} in a hundred at most are expected to be due to chance. Of places compared with "
        "their like only the worse are listed. Any are listed only where p_adjusted of the surest is at most "
        f"{IN_A_YEAR / PAGES:.4f}: of quiet years with {PAGES} pages, {IN_A_YEAR * 100:.0f} in a hundred at most have "
        "a finding.",
        f"Compared were: {kinds}.",
    )


def first_signs(signs: Sequence[Finding], persons: Collection[str]) -> tuple[str, ...]:
    """What is said of first signs, those about single persons by their number alone."""
    if not signs:
        return ()
    told = [f"{f.where}: {f.what} ({f.id})" for f in signs if not set(persons) & set(f.scope)]
    people = len(signs) - len(told)
    told += [f"{counted(people, 'more')} about the work of single persons"] if people else []
    return (
        f"First signs, not clear yet: {'; '.join(told)}. On a single page they would count, as "
        f"{ALLOWED * 100:.0f} in a hundred quiet pages have one; in a year of {PAGES} pages that is too many. Look "
        "again in a month.",
    )


def of_size(stated: tuple[Finding, ...], least: Mapping[str, float]) -> str:
    """How large a finding must be, and how many statistically clear ones are smaller."""
    everything: Mapping[str, float] = {"ratio": 1.0, "sd": 0.0}
    small = len(judged_for_page(stated, everything)) - len(judged_for_page(stated, least))
    left = f" {counted(small, 'smaller one is', 'smaller ones are')} statistically clear and left out." * (small > 0)
    more, less = (round(share * 100, 1) for share in (least["ratio"] - 1.0, 1.0 - 1.0 / least["ratio"]))
    return (
        f"Listed is what is at least {more:g} % more than where it is compared, or "
        f"{less:g} % less; of readings, {least['sd']:g} of their standard deviation (a "
        f"trend in a year).{left}"
    )


def resting_on(month: date, finals: dict[int, date]) -> str:
    """Up to which month each kind of comparison goes."""
    if not finals:
        return f"Compared are first checks and tests up to {month_name(month)}."
    ends = " and ".join(
        f"{month_name(last)} (within {counted(window, 'day')})" for window, last in sorted(finals.items())
    )
    return f"First checks and tests are those up to {month_name(month)}; come-backs are final up to {ends}."
