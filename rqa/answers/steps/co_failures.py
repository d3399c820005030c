"""Failures met together: pairs of failed steps, failed tests and findings, beyond what comparable work explains."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.comparable_work import against_comparable_work
from rqa.answers.core.finding import Finding
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import Snapshot, check_level, whole_number
from rqa.answers.core.told_sites import left_out_note, silent_sites
from rqa.measures.run import counts
from rqa.words import counted, spoken

if TYPE_CHECKING:
    import polars as pl

QUESTION = "co_failures"
VALUE = "\x1e"
KINDS = {"step": "failed step", "test": "failed test", "found": "found on return:"}
USUAL = 0.2
"""Jobs with both that comparable work must bring for a pair to be compared: a choice that does not look at the pair."""
MARKS = ("found", "logged", "tested")
"""What a site must write down, where others do, for its jobs to be among those looked at."""
FALSE_SHARE = 0.05
MORE, LESS, LUCK = "together more often", "together less often", "within chance variation"


class CoFailures(Answer):
    """Failures met together: first_kind, first, second_kind, second, jobs, first_jobs, second_jobs, together, expected,
    lift, low, high, p_value, p_adjusted, verdict."""

    question = "Failures met together"
    in_table_only = ("jobs", "first_jobs", "second_jobs", "p_value", "p_adjusted")
    needs = ("logs",)
    lists = "Its marks are of several logs. Ask yields.failures() or tests.retests() for the jobs with one of them."


def co_failures(snapshot: Snapshot, window: int = 30, *, min_cases: int = 10, level: float = 0.95) -> CoFailures:
    """Say which failures of a job meet more often than they would if each came on its own.

    Marks: failed steps, tests failed in the first run, the subsystem found at a return within `window` days; those of
    `min_cases` matured jobs or more. Fault codes stand on failed steps, so they are left out. All matured repaired jobs
    are looked at, those without a failure too: among the failing ones alone, any two failures would seem to shun each
    other. The jobs of a site that does not write down one of the three, where others do, are not among them, for no
    pair: that they lack a mark says nothing of how they went, and all pairs are judged together. What is expected comes
    from the marks' shares among jobs of the same model and procedure, as steps of one procedure meet more often than
    others in any case.

    Columns: first_kind, first, second_kind, second (the pair), jobs (of kinds of work in which the first was met),
    first_jobs, second_jobs (with each, among all), together, expected, lift = together / expected with its exact
    Poisson interval low, high, p_value (Fisher's exact test over kinds of work), p_adjusted (over all pairs), verdict.
    The surest first.

    >>> depot.steps.co_failures().table["verdict"].unique().to_list()
    ['within chance variation']

    What fails together does so no more often than chance has it.
    """
    check_level(QUESTION, level)
    window = days_asked(QUESTION, "window", window)
    whole_number(QUESTION, "min_cases", min_cases, 1)
    silent = silent_sites(snapshot, *MARKS)
    values = {"window": window, "as_of": snapshot.day, "silent": [site.name for site in silent]}
    found = counts(snapshot.store, "co_failures", values=values)
    table = _table(found, min_cases, level)
    settings = {"as_of": snapshot.day, "window": window, "min_cases": min_cases, "level": level,
                "method": "exact test over model and procedure"}
    met = table.filter(table["verdict"] == MORE).height
    notes = (
        *snapshot.notes,
        *((left_out_note(silent, "which failures they had together", of="failures met together"),) if silent else ()),
        f"{counted(table.height, 'pair was', 'pairs were')} compared; {met:,} are met together more often than chance "
        "explains (Benjamini and Hochberg, 5 %).",
        "Failures that meet need not cause each other: one fault can show at several checks. A test that fails after "
        "the step it covers says that the step's own check let something through.",
    )
    return CoFailures(table, settings, notes, tuple(_finding(r) for r in table.iter_rows(named=True)))


def _table(found: "pl.DataFrame", min_cases: int, level: float) -> "pl.DataFrame":
    import polars as pl

    from rqa.stats import benjamini_hochberg, standardised_ratio

    marks, alone, together, everyone = _matrices(found, min_cases)
    first, second = np.triu_indices(len(marks), 1)
    usual = (alone[first] * alone[second] / np.maximum(everyone, 1)).sum(axis=1) if len(first) else np.zeros(0)
    # A return has one finding, so two of them never meet.
    findings = np.array([m.startswith("found" + VALUE) for m in marks], dtype=np.bool_)
    looked_at = (usual >= USUAL) & ~(findings[first] & findings[second])
    # A failure met on every job of its kind of work has nothing to be compared with there.
    some = (alone > 0) & (alone < everyone)
    looked_at &= (some[first] & some[second]).any(axis=1) if len(first) else looked_at
    first, second = first[looked_at], second[looked_at]
    n = len(first)
    made = against_comparable_work(
        events=together[first, second].reshape(n, everyone.size), cases=alone[first].reshape(n, everyone.size),
        all_events=alone[second].reshape(n, everyone.size), all_cases=everyone,
    )
    told = made.expected > 0
    first, second = first[told], second[told]
    n, made = len(first), made.of(told)
    p = made.p_value
    adjusted = benjamini_hochberg(p_values=p, allowed=FALSE_SHARE)
    lift = standardised_ratio(observed=made.observed, expected=made.expected, level=level)
    split = [m.split(VALUE, 1) for m in marks]
    more = made.observed > made.expected
    verdict = np.where(~adjusted.found, LUCK, np.where(more, MORE, LESS)) if n else np.zeros(0, dtype=object)
    known = (alone[first] > 0).reshape(n, everyone.size)
    columns: dict[str, Any] = {
        "first_kind": pl.Series([split[i][0] for i in first], dtype=pl.String),
        "first": pl.Series([split[i][1] for i in first], dtype=pl.String),
        "second_kind": pl.Series([split[i][0] for i in second], dtype=pl.String),
        "second": pl.Series([split[i][1] for i in second], dtype=pl.String),
        "jobs": (known * everyone).sum(axis=1).astype(np.int64),
        "first_jobs": alone.sum(axis=1)[first], "second_jobs": alone.sum(axis=1)[second],
        "together": made.observed,
        "expected": rounded(made.expected), "lift": rounded(lift.estimate), "low": rounded(lift.low),
        "high": rounded(lift.high), "p_value": rounded_p_values(p), "p_adjusted": rounded_p_values(adjusted.p_adjusted),
        "verdict": pl.Series(verdict.tolist(), dtype=pl.String),
    }
    return pl.DataFrame(columns).sort("p_value", "first_kind", "first", "second_kind", "second", nulls_last=True)


Matrices = tuple[list[str], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]


def _matrices(found: "pl.DataFrame", min_cases: int) -> Matrices:
    """Marks; jobs with each by kind of work; jobs with two, by kind; all jobs by kind."""
    rows = list(found.iter_rows())
    kinds = sorted({r[:2] for r in rows})
    at = {k: i for i, k in enumerate(kinds)}
    totals: dict[str, int] = {}
    for *_, first, second, jobs in rows:
        if first and not second:
            totals[first] = totals.get(first, 0) + jobs
    marks = sorted(m for m, jobs in totals.items() if jobs >= min_cases)
    place = {m: i for i, m in enumerate(marks)}
    alone = np.zeros((len(marks), len(kinds)), dtype=np.int64)
    together = np.zeros((len(marks), len(marks), len(kinds)), dtype=np.int64)
    everyone = np.zeros(len(kinds), dtype=np.int64)
    for model, procedure, first, second, jobs in rows:
        k = at[model, procedure]
        if not first:
            everyone[k] += jobs
        elif not second and first in place:
            alone[place[first], k] += jobs
        elif first in place and second in place:
            together[place[first], place[second], k] += jobs
    return marks, alone, together, everyone


def _finding(row: dict[str, Any]) -> Finding:
    one, two = (f"{KINDS[row[f'{w}_kind']]} {spoken(row[w])}" for w in ("first", "second"))
    return Finding(
        kind="failures met together",
        scope={"failures": f"{one} with {two}"},
        what=(
            f"met together on {counted(row['together'], 'job')}, where {row['expected']:.1f} were to be expected if "
            "each came on its own"
        ),
        measure="observed over expected",
        size=row["lift"],
        low=row["low"],
        high=row["high"],
        worse=row["lift"] > 1,
        mirrored=True,
        jobs=row["together"],
        p_value=row["p_value"],
        caution="failures that meet need not cause each other; one fault can show at several checks",
        check="read five of the job sheets that have both; see what they share",
    )
