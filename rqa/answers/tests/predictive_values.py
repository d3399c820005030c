"""What a test's word is worth: how often nothing is found after a fail, and how often a pass comes back."""

from typing import TYPE_CHECKING, Any

from rqa.answers.core.case_lists import JOBS, RUNS, CaseList, Count
from rqa.answers.core.follow_up_counts import WHOLE, days_asked
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.answers.core.told_sites import telling_scope
from rqa.answers.tests.covered_tests import NONE_NAMED, coverage
from rqa.answers.yields.first_pass import dated
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "predictive_values"
GROUPINGS = (*WHOLE, "test")
"""month, week: of the fail, and of the closing of the job that passed."""


class PredictiveValues(Answer):
    """What a fail and a pass are worth: fails, confirmed, nothing_found, undecided, overkill, low, high, fail_value,
    fail_low, fail_high, passes, escaped, pass_value, pass_low, pass_high."""

    question = "What a fail and a pass are worth"
    in_table_only = ("undecided", "fail_value", "fail_low", "fail_high", "pass_low", "pass_high")
    needs = ("diagnostics", "steps")
    of_comebacks = ("pass_value", "pass_low", "pass_high")

    def listed(self) -> CaseList:
        """Fails are those of the failed runs, passes those of the matured jobs, each of the sites that can tell."""
        failed, passed = (dict(scope.where) for scope in _telling(self))
        return CaseList(
            "listed_alarms",
            {
                "fails": Count(where=failed),
                **{n: Count((n,), where=failed) for n in ("confirmed", "nothing_found", "undecided")},
                **{
                    n: Count((mark,), file="listed_escapes", rows=JOBS, where=passed)
                    for n, mark in (("passes", "passed"), ("escaped", "escaped"))
                },
            },
            rows=RUNS, returned="escaped",
        )


def _telling(answer: Answer) -> tuple[Scope, Scope]:
    """The scopes of fails and of passes: without the sites that cannot tell what was done, or what came back."""
    where: Any = answer.settings["where"]
    asked = Scope((), dict(where))
    if answer.asked_of is None:
        return asked, asked
    return (
        telling_scope(answer.asked_of.snapshot, asked, "logged", what="what was done after a fail"),
        telling_scope(answer.asked_of.snapshot, asked, "found", what="which faults came back after a pass"),
    )


def predictive_values(
    snapshot: Snapshot,
    window: int = 30,
    *,
    by: By = ("test",),
    where: Where | None = None,
    months: Months | None = None,
    level: float = 0.95,
) -> PredictiveValues:
    """Say how far a fail of a test, and a pass, can be believed.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing, test. Columns:
    fails (first runs, aborted ones aside, that failed in jobs since closed); confirmed (afterwards a step attempt
    failed, or a step was done again, or a step was attempted that touches what the test covers); nothing_found (none of
    these, and the test passed in the end or the job was closed as no_fault_found); undecided (neither); overkill =
    nothing_found / (confirmed + nothing_found) with its Wilson interval low, high; fail_value = 1 - overkill, what a
    fail is worth, with fail_low, fail_high; passes (matured jobs in which all tests passed), escaped (of these, came
    back within `window` days with a fault the test covers), pass_value = 1 - escaped / passes with pass_low, pass_high.

    >>> depot.tests.predictive_values().table.select("test", "fail_value", "pass_value").row(0)
    ('button cycle', 0.925, 0.993159)

    When the button cycle fails there is a fault in nine cases of ten; when it passes, 993 of 1,000 units stay out.
    """
    import polars as pl

    from rqa.stats import proportion_interval

    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    failed = telling_scope(snapshot, asked, "logged", what="what was done after a fail")
    passed = telling_scope(snapshot, asked, "found", what="which faults came back after a pass")
    alarms = kept_counts(snapshot, "diagnostic_alarms", failed, {"as_of": snapshot.day})
    passes = kept_counts(
        snapshot, "escapes", passed,
        {"window": days_asked(QUESTION, "window", window), "as_of": snapshot.day, "disposition": "repaired"},
    ).filter(pl.col("matured"))
    passes = passes.select(*asked.by, pl.col("passed").alias("passes"), "escaped")
    table = _joined(alarms, passes, asked.by)
    table, _ = dated(table, asked)
    judged = (table["confirmed"] + table["nothing_found"]).to_numpy()
    nothing = proportion_interval(successes=table["nothing_found"].to_numpy(), trials=judged, level=level)
    back = proportion_interval(successes=table["escaped"].to_numpy(), trials=table["passes"].to_numpy(), level=level)
    numbers = {
        "overkill": nothing.estimate, "low": nothing.low, "high": nothing.high, "fail_value": 1 - nothing.estimate,
        "fail_low": 1 - nothing.high, "fail_high": 1 - nothing.low, "pass_value": 1 - back.estimate,
        "pass_low": 1 - back.high, "pass_high": 1 - back.low,
    }
    made = table.with_columns(rounded(v).alias(n) for n, v in numbers.items()).select(
        *asked.by, "fails", "confirmed", "nothing_found", "undecided", "overkill", "low", "high", "fail_value",
        "fail_low", "fail_high", "passes", "escaped", "pass_value", "pass_low", "pass_high",
    )
    settings = {"window": window, "as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson"}
    notes = [*snapshot.notes, *failed.left_out, *passed.left_out]
    undecided = int(table["undecided"].sum())
    if undecided:
        notes.append(
            f"{counted(undecided, 'fail is', 'fails are')} undecided: not passed in the end, or in a step log without "
            "times."
        )
    if int(table["fails"].sum()):
        notes.append("Work that nobody logged looks like none, and makes a test look worse than it is.")
    if not coverage(snapshot).any_named:
        notes.append(f"{NONE_NAMED}: what a pass is worth cannot be told.")
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return PredictiveValues(made, settings, tuple(notes))


def _joined(alarms: "pl.DataFrame", passes: "pl.DataFrame", by: tuple[str, ...]) -> "pl.DataFrame":
    """Fails and passes of the same groups, 0 where one side has none."""
    import polars as pl

    if not by:
        row = {**alarms.row(0, named=True), **(passes.row(0, named=True) if passes.height else {})}
        return pl.DataFrame({"passes": 0, "escaped": 0} | row)
    both = alarms.join(passes, on=list(by), how="full", coalesce=True, nulls_equal=True)
    return both.with_columns(pl.exclude(by).fill_null(0))
