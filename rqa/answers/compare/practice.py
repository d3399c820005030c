"""Does yield rise with practice: first checks against the jobs of a procedure that a technician has done."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from rqa.answers.compare.comparison import compare
from rqa.answers.core.case_lists import CHECKS, CaseList, Count, marked
from rqa.answers.core.readable import SHARE
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import Snapshot, Where, check_level, check_values, scope, whole_number
from rqa.measures.run import counts
from rqa.words import counted, plural

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import LearningCurve

QUESTION = "learning"
BY = ("technician", "procedure")
LEAST = 100
"""First checks below which nothing is said."""
EVENTS = 10
"""Failures, and passes, below which the test of a curve cannot be trusted; the level is told all the same."""
PRACTISED = 30
"""Jobs of the procedure from which on a yield below the depot's is no longer that of a beginner."""
NEW_AFTER = 60
"""Days after the first in the log from which on a technician's first job in it is taken to be the first indeed."""
FAR = 10
"""Times the jobs done, beyond which the jobs needed are not told."""
FALSE_SHARE = LUCK = 0.05
TOO_LITTLE, RISES, FALLS, FLAT = (
    "too little work to say", "rises with practice", "falls with practice", "no change to be seen",
)
NEVER, ALWAYS = "never passed first time (0 of {n})", "always passed first time ({n} of {n})"
FEW_FAILED, FEW_PASSED = "too few failures to see a change", "too few passes to see a change"
RETRAIN = "re-training may help; watch the work first"
RETRAIN_NEVER = "re-training may help; first see that passes are logged at all, then watch the work"
NOBODY_ELSE = "below the depot, but nobody else does the same steps: look at the steps first"
NUMBERS = ("doubling", "low", "high", "p_value", "p_adjusted", "now", "now_low", "now_high", "depot", "p_below",
           "needed", "needed_low", "needed_high")


@dataclass(frozen=True, eq=False, repr=False)
class Learning(Answer):
    """Yield against practice: technician, procedure, jobs, exposures, passed, yield, first_on, new, doubling, low,
    high, p_value, p_adjusted, now, now_low, now_high, depot, p_below, needed, needed_low, needed_high, verdict,
    suggestion.

    `practice` holds the counts behind the curves: technician, procedure, experience, exposures, passed.
    """

    practice: "pl.DataFrame | None" = None

    question = "Learning"
    in_table_only = (
        "passed", "first_on", "new", "p_value", "now", "now_low", "now_high", "depot", "p_below", "needed",
        "needed_low", "needed_high", "suggestion",
    )
    units: ClassVar[Mapping[str, str]] = {"now": SHARE, "depot": SHARE}
    needs = ("checks", "technician")
    lists = CaseList("listed_attempts", {"exposures": Count(("exposure",)), **marked("passed", "failed")}, rows=CHECKS)


def learning(
    snapshot: Snapshot, where: Where | None = None, *, min_cases: int = LEAST, level: float = 0.95
) -> Learning:
    """Say whether each technician's first-pass yield changes with the jobs of a procedure done, and when it is level.

    `where` takes technician and procedure. `min_cases`: first checks below which nothing is said. Columns: technician,
    procedure, jobs, exposures (first checks), passed, yield, first_on, new (the first job lies 60 days or more after
    the first of the log); doubling, by which the odds of a pass are multiplied with each doubling of the jobs done,
    with low, high, p_value (that it is 1) and p_adjusted for how many were looked at; now, the curve's yield at the
    latest job, with now_low, now_high; depot, the yield of all others on the procedure; p_below, how often chance alone
    would set `now` as far from it, adjusted likewise; needed, the jobs after which the curve reaches the depot's level,
    with needed_low, needed_high (1: from the first job on; null: never, or not told); verdict; suggestion.

    With `min_cases` first checks the level can always be told, and a change with practice where 10 or more failed and
    passed. Else there is no curve: now is the yield of all first checks with its Wilson interval, and p_below that of
    an exact test against the others. The verdict is then "never passed first time (0 of 195)", "always passed first
    time (177 of 177)", "too few failures to see a change" or "too few passes to see a change". Only below `min_cases`
    it is "too little work to say".

    A suggestion is made only of those who have done 30 jobs or more (or never passed). Their level must lie below the
    depot's by more than chance, and they must fail more than expected on their own mix of the procedure too
    (`compare`); where nobody else does their steps, it says so. `.practice` holds the counts behind the curves.

    >>> r = depot.yields.learning().table
    >>> r["verdict"].value_counts().sort("verdict").rows()
    [('no change to be seen', 35), ('too few failures to see a change', 87), ('too little work to say', 21)]

    Most have too few failures for a curve; where there are enough, practice makes no change that can be seen.
    """
    import polars as pl

    check_level(QUESTION, level)
    asked = scope(QUESTION, by=BY, where=where, months=None, allowed=BY)
    check_values(snapshot.store, QUESTION, asked.where)
    whole_number(QUESTION, "min_cases", min_cases, 1, of="first checks")
    bands = counts(snapshot.store, "practice", by=BY, values={"as_of": snapshot.day})
    bands = bands.with_columns(rounded((bands["numbers"] / bands["jobs"]).to_list()).alias("experience"))
    # All are judged, whoever is shown: a narrow question must not make chance look like more.
    table = _judged(_pairs(bands), bands, min_cases, level)
    for name, values in asked.where.items():
        table, bands = (frame.filter(pl.col(name).is_in(list(values))) for frame in (table, bands))
    table = table.with_columns(pl.Series("suggestion", _suggestions(snapshot, table), dtype=pl.String))
    settings = {
        "as_of": snapshot.day, **asked.settings(), "min_cases": min_cases, "level": level,
        "method": "logistic on log jobs",
    }
    practice = bands.select(*BY, "experience", "exposures", "passed").filter(pl.col("exposures") > 0)
    return Learning(table, settings, _notes(snapshot, table, min_cases), practice=practice)


def _pairs(bands: "pl.DataFrame") -> "pl.DataFrame":
    """A row a technician and procedure, with the yield of all others on the procedure."""
    import polars as pl

    table = bands.group_by(BY).agg(
        pl.col("jobs").sum(), pl.col("exposures").sum(), pl.col("passed").sum(), pl.col("first_on").min()
    )
    first = pl.col("first_on").min()
    others = {name: pl.col(name).sum().over("procedure") - pl.col(name) for name in ("exposures", "passed")}
    share = pl.when(pl.col("exposures") > 0).then(pl.col("passed") / pl.col("exposures"))
    depot = pl.when(others["exposures"] > 0).then(others["passed"] / others["exposures"])
    return table.with_columns(
        share.round(6).alias("yield"),
        (pl.col("first_on") >= first + pl.duration(days=NEW_AFTER)).alias("new"),
        depot.round(6).alias("depot"),
        others["exposures"].alias("others"),
        others["passed"].alias("others_passed"),
    ).sort(BY)


def _judged(table: "pl.DataFrame", bands: "pl.DataFrame", min_cases: int, level: float) -> "pl.DataFrame":
    import polars as pl

    from rqa.stats import benjamini_hochberg

    by_pair = bands.filter(pl.col("exposures") > 0).partition_by(BY, as_dict=True)
    rows, curved = [], []
    for row in table.iter_rows(named=True):
        there = row["exposures"] >= min_cases
        curved.append(there and min(row["exposures"] - row["passed"], row["passed"]) >= EVENTS)
        own = by_pair.get((row["technician"], row["procedure"]))
        said = _level(row, level) if there else {}
        said |= _curve(own, row, level) if own is not None and curved[-1] else {}
        rows.append({name: said.get(name, np.nan) for name in (*NUMBERS, "slope")})
    made: dict[str, Any] = {name: np.array([r[name] for r in rows], dtype=float) for name in (*NUMBERS, "slope")}
    slopes = benjamini_hochberg(p_values=made["p_value"], allowed=FALSE_SHARE)
    made["p_adjusted"] = slopes.p_adjusted
    made["p_below"] = benjamini_hochberg(p_values=made["p_below"], allowed=FALSE_SHARE).p_adjusted
    verdicts = [
        (FLAT if not sure else RISES if slope > 0 else FALLS) if curve else _without_curve(row, min_cases)
        for row, curve, sure, slope in zip(
            table.iter_rows(named=True), curved, slopes.found, made["slope"], strict=True
        )
    ]
    made["depot"] = table["depot"].fill_null(float("nan")).to_numpy()
    finite = {name: np.where(np.isfinite(made[name]), made[name], np.nan) for name in NUMBERS}
    return table.select(*BY, "jobs", "exposures", "passed", "yield", "first_on", "new").with_columns(
        *((rounded_p_values if name.startswith("p_") else rounded)(finite[name]).alias(name) for name in NUMBERS),
        pl.Series("verdict", verdicts, dtype=pl.String),
    )


def _curve(own: "pl.DataFrame", row: dict[str, Any], level: float) -> dict[str, float]:
    from rqa.stats import experience_needed, learning_curve, yield_on_curve

    curve = learning_curve(
        experience=own["experience"].to_numpy(),
        passed=own["passed"].to_numpy(),
        checked=own["exposures"].to_numpy(),
        level=level,
    )
    said = {"p_value": curve.p_value, "slope": _direction(own)}
    if not curve.settled:
        return said
    latest = yield_on_curve(curve, experience=float(own["experience"].max()))  # type: ignore[arg-type]
    said |= {
        "doubling": 2.0**curve.slope, "low": 2.0**curve.slope_low, "high": 2.0**curve.slope_high,
        "slope": curve.slope, "now": float(latest.estimate), "now_low": float(latest.low),
        "now_high": float(latest.high),
    }
    depot = row["depot"]
    if depot is not None and 0.0 < depot < 1.0:
        needed = experience_needed(curve, target=depot)
        ends = {"needed": needed.estimate, "needed_low": needed.low, "needed_high": needed.high}
        said |= {name: np.nan if end > FAR * row["jobs"] else max(end, 1.0) for name, end in ends.items()}
        said["p_below"] = _apart(curve, float(own["experience"].max()), depot)  # type: ignore[arg-type]
    return said


def _direction(own: "pl.DataFrame") -> float:
    """Above 0 where passes come later than failures."""
    done, passed = own["experience"].log().to_numpy(), own["passed"].to_numpy()
    failed = own["exposures"].to_numpy() - passed
    return float((done * passed).sum() / passed.sum() - (done * failed).sum() / failed.sum())


def _level(row: dict[str, Any], level: float) -> dict[str, float]:
    """The yield of all first checks together, and how often chance alone would set it so far from the others'."""
    from rqa.stats import proportion_interval, proportion_test

    passed, checked = row["passed"], row["exposures"]
    share = proportion_interval(successes=passed, trials=checked, level=level)
    said = {"now": float(share.estimate), "now_low": float(share.low), "now_high": float(share.high)}
    if row["others"]:
        test = proportion_test(
            successes1=passed, trials1=checked, successes2=row["others_passed"], trials2=row["others"]
        )
        said["p_below"] = float(test.p_value)
    return said


def _without_curve(row: dict[str, Any], min_cases: int) -> str:
    """What can be told of a row with too little work, or too few failures or passes, for a curve."""
    passed, checked = row["passed"], row["exposures"]
    if checked < min_cases:
        return TOO_LITTLE
    if not passed:
        return NEVER.format(n=f"{checked:,}")
    if passed == checked:
        return ALWAYS.format(n=f"{checked:,}")
    return FEW_FAILED if checked - passed < EVENTS else FEW_PASSED


def _apart(curve: "LearningCurve", at: float, depot: float) -> float:
    """How often chance alone would set the curve as far from a yield, at one experience."""
    from scipy import special

    t, v = np.log(at), curve.covariance
    gap = curve.intercept + curve.slope * t - float(special.logit(depot))
    error = float(np.sqrt(v[0, 0] + 2.0 * t * v[0, 1] + t * t * v[1, 1]))
    return float(2.0 * special.ndtr(-abs(gap) / error))


def _suggestions(snapshot: Snapshot, table: "pl.DataFrame") -> list[str]:
    """A word for those whom every reading sets below the depot: practice, the curve, and the fair comparison."""
    import polars as pl

    low = table.filter(
        ((pl.col("jobs") >= PRACTISED) | (pl.col("passed") == 0))
        & (pl.col("p_below") <= FALSE_SHARE)
        & (pl.col("now") < pl.col("depot"))
        & (pl.col("verdict") != RISES)
    )
    words = {}
    for procedure in low["procedure"].unique().sort().to_list():
        asked = {"who": "technician", "outcome": "first_pass", "where": {"procedure": procedure}}
        fair, alike = (compare(snapshot, method=method, **asked).table for method in ("auto", "stratified"))  # type: ignore[arg-type]
        rows = {row["technician"]: row for row in fair.iter_rows(named=True)}
        # A model has figures for steps that nobody else does; they would be the person's own.
        beside = set(alike.filter(pl.col("verdict") != TOO_LITTLE)["technician"].to_list())
        for name, passed in low.filter(pl.col("procedure") == procedure).select("technician", "passed").iter_rows():
            row = rows.get(name)
            if row is None or name not in beside:
                words[name, procedure] = NOBODY_ELSE
            elif row["p_value"] <= LUCK and row["ratio"] > 1.0:
                words[name, procedure] = RETRAIN if passed else RETRAIN_NEVER
    return [words.get(pair, "") for pair in table.select(BY).iter_rows()]


def _notes(snapshot: Snapshot, table: "pl.DataFrame", min_cases: int) -> tuple[str, ...]:
    import polars as pl

    few = table.filter(pl.col("exposures") < min_cases).height
    flat = table.filter((pl.col("exposures") >= min_cases) & pl.col("p_value").is_null()).height
    notes = list(snapshot.notes)
    if few:
        notes.append(
            f"{few:,} of {counted(table.height, 'row')} {plural(few, 'has', 'have')} fewer than "
            f"{counted(min_cases, 'first check')}: too little work to say."
        )
    if flat:
        notes.append(
            f"{flat:,} of {counted(table.height, 'row')} {plural(flat, 'has', 'have')} fewer than {EVENTS} failures or "
            "passes, so no change with practice can be seen: their level is that of all their first checks."
        )
    old = table.filter(~pl.col("new")).height
    if old:
        notes.append(
            f"{old:,} of {counted(table.height, 'row')} {plural(old, 'begins', 'begin')} within {NEW_AFTER} days of "
            "the log's first day: those technicians may have practised before, so their jobs are counted from the log "
            "on and the early part of their curve is unknown."
        )
    notes += [
        "Practice and time pass together: a better tool or procedure looks like learning too. Models, steps and "
        "billing within a procedure are not allowed for by the curve; a suggestion is made only where the comparison "
        "on comparable work says the same. Jobs needed beyond those done are a guess, and are not told beyond ten "
        "times as many.",
        "Figures about people are for coaching and for changing the process, come with their uncertainty, and are "
        "subject to local labour and privacy law. A fall is a question about the work before it is one about a person.",
    ]
    return tuple(notes)
