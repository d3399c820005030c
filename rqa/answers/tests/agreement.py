"""Whether measurements and judgements can be believed: planned studies, and runs done again with nothing in between."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rqa.answers.core.finding import Finding
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import Scope, Snapshot, check_level, check_values
from rqa.answers.core.told_sites import left_out_note, silent_sites
from rqa.answers.tests.repeated_runs import repeated_runs
from rqa.answers.tests.retests import BETWEEN
from rqa.answers.tests.study_figures import CATEGORIES, GaugeFigures, StudyFigure, gauge_figures, verdict_figures
from rqa.answers.tests.study_layout import Study, studies_of
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import counted, estimate, listed, there_is

if TYPE_CHECKING:
    import polars as pl

QUESTION = "agreement"
LEVEL = 0.95
VALUES, VERDICTS = "values", "verdicts"
KIND = "appraisers differ"
STUDY_COLUMNS = (
    "study", "test", "kind", "units", "appraisers", "trials", "left_out", "gauge_sigma", "of_total", "of_total_low",
    "of_total_high", "of_tolerance", "of_tolerance_low", "of_tolerance_high", "categories", "category_ratio",
    "category_low", "category_high", "appraiser_p", "interaction_p", "pooled", "verdict", "missing", "refused",
)
TEXT = ("study", "test", "kind", "figure", "method", "verdict", "missing", "refused")
WHOLE = ("units", "appraisers", "trials", "left_out", "categories", "cases")


@dataclass(frozen=True, eq=False, repr=False)
class Agreement(Answer):
    """Whether measurements and judgements can be believed: study, test, kind, figure, method, value, low, high, share,
    cases.

    `studies` has a row a study and test, `runs` one a test run again with nothing in between.
    """

    studies: "pl.DataFrame | None" = None
    runs: "pl.DataFrame | None" = None

    question = "Agreement"
    lists = "Its cases are judgements of a study of the measuring, in the table studies."


def agreement(
    snapshot: Snapshot, study: str | None = None, *, test: str | None = None, level: float = LEVEL
) -> Agreement:
    """Say how much of a measured value is the gauge's own scatter, and how far judgements agree beyond chance.

    Parameters
    ----------
    study, test
        One study, or the studies and runs of one test; None takes all.
    level
        Confidence level of the limits.

    Returns
    -------
    Agreement
        A row a figure of a study: study, test, kind, figure, method, value, low, high, share, cases. Of "values":
        sigma of repeatability, reproducibility, gauge, part and total by "anova" (with limits) and by "range" (averages
        and ranges), `share` of the variance; "bias of" each appraiser against a numeric reference. Of "verdicts": kappa
        between all appraisers and of each with itself (Fleiss), of pairs and with the reference (Cohen), `share` that
        agreed; shares of faulty units passed and of good ones failed. `.studies` sums up each study: the gauge as a
        part of the total and of the tolerance, number of categories (cut off to a whole number), p of a difference and
        of an interaction, what was left out, and why there is no figure. `.runs` compares runs done again. A finding a
        gauge study: whether appraisers differ.

    Notes
    -----
    Units that lack a trial are left out of the analysis of variance and named; a study with fewer than two complete
    units, or one trial each, is refused with what is missing. The tolerance is upper less lower limit of the test, as
    most runs were held to.

    Kappa between appraisers and with the reference takes the first trial of each, as further ones are no independent
    cases. Limits of Fleiss's kappa are for the units as a sample of such units (Gwet), those of Cohen's from the
    standard error that holds at any kappa. Agreement is not truth: look at the figures with the reference.

    Runs done again are no fair sample of runs: nearly all follow a failed one. A value that failed lay far out, partly
    by its error, so the next one lies nearer the middle with a gauge that does not drift at all. More outcomes change
    than would in a planned study. Only a study tells repeatability.

    Examples
    --------
    >>> r = depot.tests.agreement().table
    >>> r.filter(r["figure"] == "gauge").select("study", "value", "share").row(0)
    ('charge rate, spring', 0.071302, 0.265302)

    A good quarter of the variance in that study comes from the measuring and not from the units.
    """
    check_level(QUESTION, level)
    table = counts(snapshot.store, "study_judgements")
    names = table["study"].unique().sort().to_list()
    if study is not None and study not in names:
        raise RequestError(f"{QUESTION}: there is no study {study!r} in the store. {there_is(study, names)}")
    if test is not None and test not in table["test"].to_list():
        check_values(snapshot.store, QUESTION, {"test": (str(test),)})
    every = [s for s in studies_of(table) if study in (None, s.name) and test in (None, s.test)]
    tolerances, measured_in = _tolerances(snapshot)
    lines: list[tuple[Study, str, StudyFigure]] = []
    rows: list[dict[str, object]] = []
    stated: list[Finding] = []
    notes = list(snapshot.notes)
    for s in every:
        if s.values:
            g = gauge_figures(s, tolerances.get(s.test), level)
            lines += [(s, VALUES, line) for line in g.lines]
            rows.append(_gauge_row(s, g))
            stated += _differ(s, g, measured_in.get(s.test, ""))
        if s.verdicts:
            lines += [(s, VERDICTS, line) for line in verdict_figures(s, level)]
            rows.append(_verdict_row(s))
        if s.contradicted:
            notes.append(f"Study {s.name}: {listed(s.contradicted)} have more than one reference, so none is used.")
    wanted = {s.test for s in every} if study is not None else None
    runs = repeated_runs(snapshot, test=test, tests=wanted, level=level)
    settings = {"study": study, "test": test, "as_of": snapshot.day, "level": level, "method": "anova, range, kappa"}
    silent = silent_sites(snapshot, "logged")
    if silent:
        notes.append(left_out_note(silent, BETWEEN, of="runs done again"))
    notes += _notes(names, rows, runs)
    return Agreement(_table(lines), settings, tuple(notes), tuple(stated), studies=_studies(rows), runs=runs)


def gauge_sigmas(snapshot: Snapshot) -> dict[str, float]:
    """Sigma of measuring error by test, from its gauge study; of several the last by name."""
    found = {}
    for s in studies_of(counts(snapshot.store, "study_judgements")):
        made = gauge_figures(s, None, LEVEL).found if s.test and s.values else None
        if made is not None:
            found[s.test] = float(made.sigma[2])
    return found


def _tolerances(snapshot: Snapshot) -> tuple[dict[str, float], dict[str, str]]:
    """Upper less lower limit, and the unit, of each test, as most of its runs had them."""
    import polars as pl

    limits = kept_counts(snapshot, "test_limits", Scope(("test",)), {"as_of": snapshot.day})
    units = dict(limits.drop_nulls("unit").sort(["test", "runs", "unit"]).select("test", "unit").iter_rows())
    both = limits.drop_nulls(["lower_limit", "upper_limit"]).filter(pl.col("upper_limit") > pl.col("lower_limit"))
    most = both.sort(["test", "runs", "upper_limit"], descending=[False, False, False])
    return {r["test"]: r["upper_limit"] - r["lower_limit"] for r in most.iter_rows(named=True)}, units


def _gauge_row(s: Study, g: GaugeFigures) -> dict[str, object]:
    row: dict[str, object] = {
        "study": s.name, "test": s.test or None, "kind": VALUES, "units": len({u for u, _ in s.values}),
        "appraisers": len({a for _, a in s.values}), "trials": s.trials, "left_out": g.left_out,
        "missing": g.missing, "refused": g.refused, "verdict": g.verdict,
    }
    r = g.found
    if r is not None:
        row |= {
            "gauge_sigma": float(r.sigma[2]), "of_total": r.gauge_of_total[0], "of_total_low": r.gauge_of_total[1],
            "of_total_high": r.gauge_of_total[2], "of_tolerance": r.of_tolerance[0],
            "of_tolerance_low": r.of_tolerance[1], "of_tolerance_high": r.of_tolerance[2],
            "categories": r.categories, "category_ratio": r.category_ratio[0], "category_low": r.category_ratio[1],
            "category_high": r.category_ratio[2], "appraiser_p": g.p_appraisers, "interaction_p": r.p_interaction,
            "pooled": r.pooled,
        }
    return row


def _verdict_row(s: Study) -> dict[str, object]:
    who = sorted({a for _, a in s.verdicts})
    units = sorted({u for u, _ in s.verdicts})
    gaps = [f"unit {u} by {a}" for u in units for a in who if (u, a) not in s.verdicts]
    missing = f"not judged: {'; '.join(gaps[:5])}" + (f"; and {len(gaps) - 5} more" if len(gaps) > 5 else "")
    return {
        "study": s.name, "test": s.test or None, "kind": VERDICTS, "units": len(units), "appraisers": len(who),
        "trials": s.trials, "left_out": 0, "missing": missing if gaps else "", "refused": "", "verdict": "",
    }


def _differ(s: Study, g: GaugeFigures, unit: str) -> list[Finding]:
    r = g.found
    if r is None or not np.isfinite(g.p_appraisers):
        return []
    size, low, high = (float(np.sqrt(v[1])) for v in (r.variance, r.low, r.high))
    scope = {"study": s.name, **({"test": s.test} if s.test else {})}
    made = Finding(
        kind=KIND, scope=scope,
        what=f"appraisers add a standard deviation of {estimate(size, unit)} ({estimate(low, unit)} to "
        f"{estimate(high, unit)}) to what is read, the gauge in all {estimate(float(r.sigma[2]), unit)}",
        measure="standard deviation between appraisers", size=size, low=low, high=high, worse=True,
        jobs=r.parts * r.appraisers * r.trials, p_value=g.p_appraisers,
        caution=f"{counted(r.appraisers, 'appraiser says', 'appraisers say')} little of appraisers in general",
        check="watch them measure the same unit; agree on how it is held, and when the value is read",
    )
    return [made]


def _table(lines: list[tuple[Study, str, StudyFigure]]) -> "pl.DataFrame":
    import polars as pl

    names = ("study", "test", "kind", "figure", "method", "value", "low", "high", "share", "cases")
    schema = {n: pl.String() if n in TEXT else pl.Int64() if n in WHOLE else pl.Float64() for n in names}
    rows = [
        (s.name, s.test or None, kind, x.figure, x.method, x.value, x.low, x.high, x.share, x.cases)
        for s, kind, x in lines
    ]
    made = pl.DataFrame(rows, schema=schema, orient="row")
    return made.with_columns(rounded(made[n]).alias(n) for n in ("value", "low", "high", "share"))


def _studies(rows: list[dict[str, object]]) -> "pl.DataFrame":
    import polars as pl

    schema = {
        n: pl.String() if n in TEXT else pl.Int64() if n in WHOLE else pl.Boolean() if n == "pooled" else pl.Float64()
        for n in STUDY_COLUMNS
    }
    made = pl.DataFrame([[row.get(n) for n in STUDY_COLUMNS] for row in rows], schema=schema, orient="row")
    p = ("appraiser_p", "interaction_p")
    return made.with_columns(
        (rounded_p_values if n in p else rounded)(made[n]).alias(n) for n, kind in schema.items()
        if kind == pl.Float64()
    )


def _notes(names: list[str], rows: list[dict[str, object]], runs: "pl.DataFrame") -> list[str]:
    notes = []
    if not names:
        notes.append("No planned study in the store: list the judgements in a table `studies` to have one.")
    elif not rows:
        notes.append(f"None of the studies in the store ({listed(names)}) has a value or an outcome for this question.")
    for row in rows:
        if row["refused"]:
            notes.append(f"Study {row['study']}: {row['refused']}")
        elif row["missing"]:
            out = f"; {counted(row['left_out'], 'unit')} left out" if row["left_out"] else ""
            notes.append(f"Study {row['study']}: {row['missing']}{out}.")
        few = row.get("categories")
        if isinstance(few, int) and few < CATEGORIES:
            told = (
                f"{counted(few, 'category of unit is', 'categories of unit are')} told apart; below {CATEGORIES} the "
                "gauge cannot watch a process"
            )
            notes.append(f"Study {row['study']}: {told}.")
    if runs.height:
        notes.append(
            "Runs done again are no fair sample: nearly all follow a failed run, whose value lay far out partly by its "
            "error, so the next one lies nearer the middle. Only a planned study tells repeatability."
        )
    return notes
