"""Tests that failed and then passed with nothing done in between: flaky tests, or runs repeated until one passes."""

from dataclasses import replace
from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import RUNS, CaseList, Count, marked
from rqa.answers.core.contrasts import Contrast, all_stated, each_against_rest
from rqa.answers.core.finding import Finding
from rqa.answers.core.grounds import grounds
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer, sums_by_group, with_shares
from rqa.answers.core.scope import PERIODS, By, Months, Scope, Snapshot, Where, check_level, check_values, scope
from rqa.answers.core.told_sites import sites_without_log, telling_scope
from rqa.answers.yields.first_pass import dated
from rqa.measures.groupings import JOB_NAMES, TEST_LOG
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "retests"
GROUPINGS = (*PERIODS, *JOB_NAMES, *TEST_LOG)
"""month, week, station: those of the failed run; technician: who answers for the job."""
COMPARED = ("test", "station")
"""What is compared in `stated`."""
BETWEEN = "whether work lay between two runs"
"""What cannot be told at a site that keeps no step log."""
FLAKY = "a fault that comes and goes looks the same as a test that cannot be believed"
RUN_AGAIN = "run one unit ten times without touching it; ask whether a fail is followed by anything but a second run"
FIXTURE = "swap the stations' leads and fixtures for a week; run the same units at both"


class RetestPasses(Answer):
    """Fails that passed again with nothing done: runs, fails, retest_passes, share, low, high, judged, after_work,
    failed_again, not_rerun, untimed, elsewhere."""

    question = "Retest passes"
    in_table_only = ("judged", "untimed", "elsewhere")
    needs = ("diagnostics", "steps")

    def listed(self) -> CaseList:
        """Runs that passed or failed; what was done between two is not known where a site keeps no step log."""
        silent = sites_without_log(self.asked_of.snapshot) if self.asked_of else []
        own = marked("after_work", "failed_again", "not_rerun", "untimed", "judged", "elsewhere")
        return CaseList(
            "listed_retests",
            {"runs": Count(), "fails": Count(("failed",)), "retest_passes": Count(("retest_pass",)), **own},
            rows=RUNS, values={"unlogged": silent},
        )


def retests(
    snapshot: Snapshot, by: By = ("test",), *, where: Where | None = None, months: Months | None = None,
    level: float = 0.95,
) -> RetestPasses:
    """Say how often a failed test passed when run again with nothing done to the unit in between.

    `by` and `where` take month and week (in `by` alone), site, model, procedure, technician, billing, test, station: of
    the failed run. Columns: runs (that passed or failed), fails; retest_passes (the next run that was not aborted
    passed, and no step attempt lies in between), share = retest_passes / judged with its Wilson interval low, high;
    judged (fails less the untimed); after_work (the next run passed, with a step attempt in between), failed_again,
    not_rerun, untimed (the job's step log has an attempt without any time, or its site keeps no step log though others
    do, so nobody can say), elsewhere (retest passes at another station than the fail's).

    A step attempt lies in between if it ended after the failed run and began no later than the next one. Work that
    nobody logged looks like none.

    `stated` compares each test with all others, by the share of its fails. It compares each test at each station with
    the same test at the other stations, by that share and by retest passes among all its runs (Fisher's exact test).
    Many more
    of them in one test: it is flaky, or its limit sits in its noise. At one station: its fixture. Nearly everywhere:
    tests are run until they pass.

    >>> r = depot.tests.retests().table.sort("share")
    >>> r.select("test", "retest_passes", "fails", "share").row(-1)
    ('touch sweep', 183, 237, 0.772152)

    Three in four failed touch sweeps pass again with nothing done: that test cannot be relied on.
    """
    check_level(QUESTION, level)
    asked = scope(QUESTION, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, QUESTION, asked.where)
    told = telling_scope(snapshot, asked, "logged", what=BETWEEN, of="runs that passed again with nothing done")
    by_station = _counted(snapshot, told, COMPARED)
    reused = not told.left_out and set(asked.by) <= set(COMPARED)
    table, _ = dated(_summed(by_station, asked.by) if reused else _counted(snapshot, asked, asked.by), asked)
    table = _judged(table)
    made = with_shares(table, part="retest_passes", whole="judged", share="share", level=level).select(
        *asked.by, "runs", "fails", "retest_passes", "share", "low", "high", "judged", "after_work", "failed_again",
        "not_rerun", "untimed", "elsewhere",
    )
    settings = {"as_of": snapshot.day, **asked.settings(), "level": level, "method": "wilson"}
    notes = [*snapshot.notes, *told.left_out, *_notes(table, asked)]
    # Without a step log every second run has nothing logged before it: there is nothing to compare.
    stated = _stated(by_station) if "steps" in grounds(snapshot).present else ()
    return RetestPasses(made, settings, tuple(notes), stated)


def _counted(snapshot: Snapshot, asked: Scope, by: tuple[str, ...]) -> "pl.DataFrame":
    table = kept_counts(
        snapshot, QUESTION, replace(asked, by=by), {"as_of": snapshot.day, "unlogged": sites_without_log(snapshot)}
    )
    return by_group(table, by)


def by_group(table: "pl.DataFrame", by: tuple[str, ...]) -> "pl.DataFrame":
    """A row a group from a row a group and what became of a failed run."""
    import polars as pl

    fate = pl.col("fate")
    passed = fate == "retest pass"
    return sums_by_group(
        table, by, "runs",
        runs=fate == "", fails=fate != "", retest_passes=passed, after_work=fate == "after work",
        failed_again=fate == "failed again", not_rerun=fate == "not rerun", untimed=fate == "untimed",
        elsewhere=passed & pl.col("elsewhere"), unlogged=fate == "no step log",
    )


def _judged(table: "pl.DataFrame") -> "pl.DataFrame":
    """The counts with the fails of which it can be said what lay between; `untimed` are all others."""
    import polars as pl

    table = table.with_columns((pl.col("untimed") + pl.col("unlogged")).alias("untimed"))
    return table.with_columns((pl.col("fails") - pl.col("untimed")).alias("judged"))


def _summed(by_station: "pl.DataFrame", by: tuple[str, ...]) -> "pl.DataFrame":
    """Counts of tests at stations as those of fewer groups, which saves counting the log again."""
    import polars as pl

    sums = pl.exclude(COMPARED).sum()
    return by_station.group_by(by).agg(sums).sort(by) if by else by_station.select(sums)


def _stated(table: "pl.DataFrame") -> tuple[Finding, ...]:
    """Every comparison of tests, and of stations at one test."""
    import polars as pl

    table = _judged(table)
    tests = table.group_by("test", maintain_order=True).agg(pl.col("retest_passes", "judged").sum())
    of_fails = {(t,): (x, n) for t, x, n in tests.select("test", "retest_passes", "judged").iter_rows()}
    made = [
        Contrast(
            "retest passes by test", {"test": test},
            "failed runs that passed again with nothing done,", *own, *rest, "at the other tests", False, FLAKY,
            RUN_AGAIN, comebacks=False,
        )
        for (test,), own, rest in each_against_rest(of_fails)
    ]
    known = table.filter(pl.col("station") != "unknown")
    for kind, what, size in (
        ("retest passes by test and station", "failed runs that passed again with nothing done,", "judged"),
        ("false alarms by test and station", "runs that failed and passed again with nothing done,", "runs"),
    ):
        totals = {(t, s): (x, n) for t, s, x, n in known.select("test", "station", "retest_passes", size).iter_rows()}
        made += [
            Contrast(
                kind, {"test": test, "station": station}, what,
                *own, *rest, "at the other stations", False, f"{FLAKY}; stations may be given different units", FIXTURE,
                comebacks=False,
            )
            for (test, station), own, rest in each_against_rest(totals, alike=1)
        ]
    return tuple(all_stated(made))


def _notes(table: "pl.DataFrame", asked: Scope) -> list[str]:
    notes = []
    untimed = int(table["untimed"].sum()) - int(table["unlogged"].sum())
    if untimed:
        notes.append(
            f"{counted(untimed, 'fail is', 'fails are')} in jobs with a step attempt without any time, or with runs "
            "dated out of order: whether work lay in between is not known, so they are not in the share."
        )
    if int(table["retest_passes"].sum()):
        notes.append("Work that nobody logged looks like none: ask before calling a test flaky or a pass bought.")
    elsewhere = int(table["elsewhere"].sum())
    if elsewhere:
        notes.append(
            f"{counted(elsewhere, 'retest pass was', 'retest passes were')} at another station than the fail: compare "
            "the two stations."
        )
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return notes
