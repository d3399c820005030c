"""Jobs released with a usual test missing, a last run not passed, or tests older than the work; and what came of it."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.case_lists import OWN_JOBS, CaseList, Count
from rqa.answers.core.finding import Finding
from rqa.answers.core.follow_up_counts import WHOLE, days_asked
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer, rounded, rounded_p_values, with_shares
from rqa.answers.core.scope import (
    By,
    Months,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_values,
    is_number,
    scope,
    whole_number,
)
from rqa.answers.yields.first_pass import dated
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import count, counted, percent, plural

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import MantelHaenszel

QUESTION, LIST = "releases", "release_faults"
CHECKS = ("missing", "failed", "aborted", "early", "any")
SAID = {
    "missing": "a usual test was not run", "failed": "the last run of a test failed",
    "aborted": "the last run of a test was aborted", "early": "a test's last run came before the last step",
    "any": "one of these",
}
USUAL = 0.8
"""Share of a kind of work from which on a test counts as usual for it."""
LEAST = 20
"""Jobs of a kind of work below which nobody can say what is usual."""
FEWEST = 20
"""Matured jobs on each side below which nothing is stated."""
EXACT_EVENTS = 2_000
SHOW = ("site", "model", "procedure")
UNSEEN = (
    "A run that was refused at load without a job's id, or logged under another test's name, looks like one that was "
    "not made."
)
CAUTION = "jobs released so may differ in what else happened to them; kinds of work are allowed for, nothing else"
FOR_COACHING = "for coaching and for changing the process, no verdict on a person"
CHECK = (
    "read ten such jobs: was the test not needed, not logged, or left out; then make its pass a condition of closing"
)


class Releases(Answer):
    """Jobs released without tests in order: check, jobs, flagged, share, low, high, matured, returned, other_matured,
    other_returned, ratio, ratio_low, ratio_high, p_value."""

    question = "Releases checked"
    in_table_only = ("low", "high", "p_value", "other_matured")
    needs = ("diagnostics",)
    of_comebacks = ("ratio", "ratio_low", "ratio_high", "p_value")
    lists = CaseList(
        "listed_releases",
        {
            "jobs": Count(("judged",)), "flagged": Count(("flagged",)), "matured": Count(("flagged", "matured")),
            "returned": Count(("flagged", "returned")), "other_matured": Count(("clear", "matured")),
            "other_returned": Count(("clear", "returned")),
        },
        keys={"check": "by_check"}, whole={"check": "any"}, values={"min_cases": LEAST},
    )


class ReleaseFaults(Answer):
    """The jobs released so: site, model, procedure, job_id, unit_id, closed_on, check, test, run_at, worked_until,
    returned."""

    question = "Jobs released without tests in order"
    in_table_only = ("unit_id",)
    needs = ("diagnostics",)
    nothing_found = "No job asked about was released without its tests in order."
    looks_at = ("closed_there", "tested_there")
    lists = OWN_JOBS


def releases(
    snapshot: Snapshot,
    window: int = 30,
    *,
    by: By = (),
    where: Where | None = None,
    months: Months | None = None,
    usual: float = USUAL,
    level: float = 0.95,
) -> Releases:
    """Say how many repaired jobs were closed without the tests in order, and whether they come back more often.

    `by` and `where` take month and week (in `by` alone, of closing), site, model, procedure, technician, billing. A
    row a group and check: "missing" (a usual test was not run), "failed" and "aborted" (the last run of some test),
    "early" (the last run of some test came before the end of the last step attempt), "any" (one of these, of jobs of
    which one of them can be judged). A test is usual for a model
    and procedure if it was run on at least the share `usual` of its jobs, 20 at least. Those jobs count that were
    closed between the first and the last that had it; only jobs of that time need it. Jobs of which a run was refused
    at load are left out, as nobody knows what it would have said; a note counts them.

    Columns: check; jobs (that can be judged), flagged, share = flagged / jobs with its Wilson interval low, high;
    matured and returned (within `window` days) of the flagged ones, other_matured and other_returned of the others;
    ratio of their risks to come back (Mantel-Haenszel over procedure x model) with ratio_low, ratio_high (limits of
    the stratified score test where events are too few), p_value (exact conditional test). `stated` holds those ratios
    with 20 matured jobs or more on each side. The jobs themselves: `release_faults`.

    >>> depot.tests.releases().table.select("check", "flagged", "jobs").rows()[:2]
    [('missing', 14, 2513), ('failed', 9, 2513)]

    Of 2,513 jobs, 14 left without a test that is usual for their work, and 9 after a failed one.
    """
    import polars as pl

    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=WHOLE)
    check_values(snapshot.store, QUESTION, asked.where)
    found = kept_counts(snapshot, "release_checks", asked, _values(QUESTION, snapshot, window, usual))
    keys = [*asked.by, "check"]
    flagged, others = pl.col("flagged"), ~pl.col("flagged")
    table = found.group_by(keys).agg(
        pl.col("jobs").filter(flagged.is_not_null()).sum().alias("judged"),
        *(pl.col(c).filter(flagged).sum().alias(f"flagged_{c}") for c in ("jobs", "matured", "returned")),
        *(pl.col(c).filter(others).sum().alias(f"other_{c}") for c in ("matured", "returned")),
    )
    table = table.rename({
        "judged": "jobs", "flagged_jobs": "flagged", "flagged_matured": "matured", "flagged_returned": "returned",
    })
    order = pl.col("check").replace_strict({c: i for i, c in enumerate(CHECKS)}, return_dtype=pl.Int64)
    table = dated(table.sort(*asked.by, order), asked)[0].sort(*asked.by, order)
    table = with_shares(table, part="flagged", whole="jobs", share="share", level=level)
    ratios, p_values = _ratios(table, found.drop_nulls("flagged"), keys, level)
    made = table.with_columns(
        rounded(ratios.estimate).alias("ratio"), rounded(ratios.low).alias("ratio_low"),
        rounded(ratios.high).alias("ratio_high"), rounded_p_values(p_values).alias("p_value"),
    ).select(
        *keys, "jobs", "flagged", "share", "low", "high", "matured", "returned", "other_matured", "other_returned",
        "ratio", "ratio_low", "ratio_high", "p_value",
    )
    settings = {
        "window": window, "as_of": snapshot.day, **asked.settings(), "usual": usual, "level": level,
        "method": "wilson; Mantel-Haenszel over procedure and model, exact test",
    }
    return Releases(
        made,
        settings,
        (*snapshot.notes, *_untold(snapshot, asked), *_judged(found), *_notes(made, asked, usual)),
        _stated(made, asked.by, window),
    )


def release_faults(
    snapshot: Snapshot,
    window: int = 30,
    *,
    where: Where | None = None,
    months: Months | None = None,
    usual: float = USUAL,
    limit: int = 1000,
) -> ReleaseFaults:
    """List the repaired jobs that were closed without the tests in order, the latest first.

    A row a job, check and test, at most `limit`. Columns: site, model, procedure, job_id, unit_id, closed_on, check (as
    of `releases`), test, run_at (of its last run, null where it is missing), worked_until (end of the job's last step
    attempt), returned (within `window` days; null where the job has not matured). `where` takes site, model, procedure,
    technician, billing.

    >>> depot.tests.release_faults(limit=1).table.select("job_id", "check", "test").row(0)
    ('C001010', 'aborted', 'cell load')

    The newest of the list: its cell load was aborted and never run again.
    """
    whole_number(LIST, "limit", limit, 1, of="rows")
    asked = scope(LIST, by=SHOW, where=where, months=months, allowed=WHOLE)
    check_values(snapshot.store, LIST, asked.where)
    table = kept_counts(
        snapshot, "release_list", asked, {**_values(LIST, snapshot, window, usual), "limit": limit}
    )
    settings = {
        "window": window, "as_of": snapshot.day, "where": dict(asked.where), "months": asked.months, "usual": usual
    }
    notes = [*snapshot.notes, *_untold(snapshot, asked)]
    if table.is_empty():
        notes += _judged(
            kept_counts(
                snapshot, "release_checks", replace(asked, by=()), _values(LIST, snapshot, window, usual)
            )
        )
    if table.height == limit:
        notes.append(f"The latest {counted(limit, 'row')}; there may be more.")
    notes += ["run_at and worked_until are in UTC."] if table.height else []
    notes += [UNSEEN] if "missing" in table["check"] else []
    notes += [PEOPLE] if "technician" in asked.named else []
    return ReleaseFaults(table, settings, tuple(notes))


def _untold(snapshot: Snapshot, asked: Scope) -> list[str]:
    """How many of the jobs asked about are left out because a run of theirs was refused."""
    table = counts(
        snapshot.store, "release_untold", where=asked.where, months=asked.months,
        values={"as_of": snapshot.day, "disposition": "repaired"},
    )
    jobs = int(table["jobs"].sum())
    if not jobs:
        return []
    return [
        f"{counted(jobs, 'job')} of which the load refused a diagnostic run: whether "
        f"{plural(jobs, 'its tests', 'their tests')} were in order cannot be told, and "
        f"{plural(jobs, 'it is', 'they are')} left out here. The table refused has the rows (table_name "
        "diagnostics); mend them and load again."
    ]


def _judged(found: "pl.DataFrame") -> list[str]:
    """Of how many of the jobs asked about it can be told whether their tests were in order."""
    import polars as pl

    each = found.filter(pl.col("check") == "any")
    jobs, untold = int(each["jobs"].sum()), int(each.filter(pl.col("flagged").is_null())["jobs"].sum())
    if not jobs:
        return []
    said = f"The tests of {count(jobs - untold)} of {counted(jobs, 'released job')} can be judged"
    left = f"; {counted(untold, 'job lacks', 'jobs lack')} a diagnostic, and a test that is usual for the work"
    return [f"{said}{left if untold else ''}."]


def _values(question: str, snapshot: Snapshot, window: int, usual: float) -> dict[str, object]:
    if not is_number(usual) or not 0 < usual <= 1:
        raise RequestError(f"{question}: usual is a share above 0 and up to 1, such as 0.8: {usual!r}.")
    return {
        "window": days_asked(question, "window", window), "as_of": snapshot.day, "disposition": "repaired",
        "usual": float(usual), "min_cases": LEAST,
    }


def _ratios(
    table: "pl.DataFrame", found: "pl.DataFrame", keys: list[str], level: float
) -> "tuple[MantelHaenszel, NDArray[np.float64]]":
    """Risk ratios of the flagged jobs over kinds of work, one a row of the table, and exact p-values."""
    from rqa.stats import exact_common_odds, mantel_haenszel

    strata = found.select("of_procedure", "of_model").unique().sort("of_procedure", "of_model").rows()
    place = {s: i for i, s in enumerate(strata)}
    row_of = {tuple(key): i for i, key in enumerate(table.select(keys).iter_rows())}
    tables = np.zeros((table.height, max(len(strata), 1), 2, 2), dtype=np.int64)
    for row in found.iter_rows(named=True):
        at = row_of.get(tuple(row[k] for k in keys))
        if at is not None:
            cell = tables[at, place[row["of_procedure"], row["of_model"]], 0 if row["flagged"] else 1]
            cell += (row["returned"], row["matured"] - row["returned"])
    ratios = mantel_haenszel(tables, measure="risk", level=level)
    p_values = np.full(table.height, np.nan)
    for i, own in enumerate(tables):
        few = int(own[:, :, 0].sum()) <= EXACT_EVENTS
        p_values[i] = exact_common_odds(own, level=level).p_value if few else ratios.p_corrected[i]
    return ratios, p_values


def _stated(table: "pl.DataFrame", by: tuple[str, ...], window: int) -> tuple[Finding, ...]:
    made = []
    for r in table.iter_rows(named=True):
        sizes: tuple[Any, ...] = (r["matured"], r["other_matured"])
        if r["check"] == "any" or min(sizes) < FEWEST or r["ratio"] is None or r["p_value"] is None:
            continue
        made.append(
            Finding(
                kind=f"come-backs of jobs closed though {SAID[r['check']]}",
                scope={n: str(r[n]) for n in by},
                what=(
                    f"of {counted(r['matured'], 'job')} closed though {SAID[r['check']]}, "
                    f"{percent(r['returned'] / r['matured'])} came back within {counted(window, 'day')}, against "
                    f"{percent(r['other_returned'] / r['other_matured'])} of the other {count(r['other_matured'])}"
                ),
                measure="ratio of risks",
                size=r["ratio"],
                low=r["ratio_low"],
                high=float("inf") if r["ratio_high"] is None else r["ratio_high"],
                worse=r["ratio"] > 1,
                mirrored=True,
                jobs=r["matured"],
                p_value=r["p_value"],
                caution=f"{FOR_COACHING}; {CAUTION}" if "technician" in by else CAUTION,
                check=CHECK,
                avoided=max(0.0, r["returned"] * (1 - 1 / r["ratio"])) if r["ratio"] > 0 else 0.0,
                events=r["returned"],
            )
        )
    return tuple(made)


def _notes(table: "pl.DataFrame", asked: Scope, usual: float) -> list[str]:
    import polars as pl

    notes: list[str] = []
    if not table.height:
        return notes
    notes.append(
        f"A test is taken as required where {percent(usual, decimals=0)} or more of the jobs of that model and "
        "procedure had it: no table says what is required, and what is nearly always left out is not missed here."
    )
    if int(table.filter(pl.col("check") == "missing")["flagged"].sum()):
        notes.append(UNSEEN)
    early = table.filter(pl.col("check") == "early").select(pl.col("flagged", "jobs").sum()).row(0)
    if early[1] and early[0] > early[1] / 2:
        notes.append(
            "Most jobs have a step after the last test: that is how the work is laid out, and says nothing of one job."
        )
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return notes
