"""What come-backs were found to have: beside what was named or repaired, and by marks that say where to look."""

from typing import TYPE_CHECKING

from rqa.answers.core.case_lists import COMEBACKS, CaseList, Count
from rqa.answers.core.follow_up_counts import WHOLE, check_index_disposition, days_asked
from rqa.answers.core.ground_list import FOUND
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.own_work import CONFIRMED
from rqa.answers.core.result import Answer, with_shares
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_level, check_one_of, check_values, scope
from rqa.answers.core.told_sites import told_scope

if TYPE_CHECKING:
    import polars as pl

MATRIX, MARKS = "comeback_matrix", "comeback_marks"
NAMED = ("complaint", "repaired")
MARKED = (
    ("no fault found", "fault_known", "no_fault_found"),
    ("same part fitted again", "with_part", "same_part"),
    ("had passed its tests", "tested", "escaped"),
)
"""Each mark with its cases and the marked among them."""


class FindingMatrix(Answer):
    """What was named against what was found: returned, of_row, low, high."""

    question = "Complaint and finding"
    needs = FOUND
    lists = CaseList(
        "listed_findings", {"returned": Count()}, rows=COMEBACKS,
        keys={"complaint": "named", "repaired": "was_repaired", "found": "was_found"},
    )


class ComebackMarks(Answer):
    """Marks of come-backs: mark, cases, marked, share, low, high."""

    question = "Marks of come-backs"
    needs = FOUND
    lists = CaseList(
        "listed_marks",
        {
            "cases": Count(per={"mark": {mark: (cases,) for mark, cases, _ in MARKED}}),
            "marked": Count(per={"mark": {mark: (cases, hits) for mark, cases, hits in MARKED}}),
        },
        rows=COMEBACKS,
    )


def comeback_matrix(
    snapshot: Snapshot,
    window: int = 30,
    *,
    named: str = "complaint",
    by: By = (),
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> FindingMatrix:
    """Say what was found in units that came back, beside what the customer named or what had been repaired.

    `named` is "complaint" (of the return) or "repaired" (found at fault in the job before, or else complained of).
    Groupings: month, week, site, model, procedure, technician, billing. A row for each pair that occurs: the column
    named so, found ("nothing" where the return found no fault, "unknown" where nobody wrote it down), returned (matured
    jobs that came back within `window` days), of_row (its share of that row's returns) with Wilson's low and high.

    Where complaint and finding differ much, the intake asks too little; where what was repaired is found again, look at
    the repair.

    >>> depot.returns.matrix().table.select("complaint", "found", "returned", "of_row").row(0)
    ('antenna', 'antenna', 13, 0.8125)

    Of 16 come-backs with a complaint of the antenna, 13 were found to have just that.
    """
    import polars as pl

    check_one_of(MATRIX, "named", named, NAMED)
    asked, table = asked_findings(
        MATRIX, snapshot, "comeback_findings", window, by, where, months, index_disposition, level, CONFIRMED
    )
    keys = [*asked.by, named]
    cells = table.group_by([*keys, "found"]).agg(pl.col("returned").sum())
    cells = cells.with_columns(pl.col("returned").sum().over(keys).alias("of")).sort([*keys, "found"])
    made = with_shares(cells, part="returned", whole="of", share="of_row", level=level)
    settings = {"named": named, **settings_of(snapshot, asked, window, index_disposition, level)}
    shown = made.select(*keys, "found", "returned", "of_row", "low", "high")
    return FindingMatrix(shown, settings, (*snapshot.notes, *asked.left_out))


def comeback_marks(
    snapshot: Snapshot,
    window: int = 30,
    *,
    by: By = (),
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> ComebackMarks:
    """Say how many come-backs found nothing, fitted the same part again, or had passed the tests that cover the fault.

    Groupings: month, week, site, model, procedure, technician, billing. A row a group and mark: cases, marked, share =
    marked / cases with Wilson's low and high. The cases of "no fault found" are returns whose finding is written down;
    of "same part fitted again" returns after a job in which a part was fitted; of "had passed its tests" (an escape)
    returns with a fault found after a job with diagnostics: marked when the last run of every test had passed and one
    of them covers what was then found.

    >>> depot.returns.marks().table.select("mark", "marked", "cases").rows()
    [('no fault found', 11, 135), ('same part fitted again', 76, 138), ('had passed its tests', 109, 124)]

    Of 124 come-backs, 109 had passed the tests that cover what was then found.
    """
    import polars as pl

    asked, table = asked_findings(
        MARKS, snapshot, "comeback_marks", window, by, where, months, index_disposition, level, CONFIRMED
    )
    rows = [
        table.select(
            *asked.by, pl.lit(mark).alias("mark"), pl.col(cases).alias("cases"), pl.col(hits).alias("marked")
        ).with_columns(pl.lit(place).alias("_place"))
        for place, (mark, cases, hits) in enumerate(MARKED)
    ]
    whole = pl.concat(rows).sort([*asked.by, "_place"]).drop("_place")
    made = with_shares(whole, part="marked", whole="cases", share="share", level=level)
    return ComebackMarks(
        made, settings_of(snapshot, asked, window, index_disposition, level), (*snapshot.notes, *asked.left_out)
    )


def asked_findings(
    question: str, snapshot: Snapshot, measure: str, window: int, by: By, where: Where | None, months: Months | None,
    index_disposition: str, level: float, classes: tuple[str, ...],
) -> "tuple[Scope, pl.DataFrame]":
    """What is asked for, and its counts: those of a file about come-backs of these classes (none: of all)."""
    check_level(question, level)
    check_index_disposition(question, index_disposition)
    asked = scope(question, by=by, where=where, months=months, allowed=WHOLE)
    check_values(snapshot.store, question, asked.where)
    asked = told_scope(snapshot, asked, classes) if classes else asked
    table = kept_counts(snapshot, measure, asked, {
        "window": days_asked(question, "window", window), "as_of": snapshot.day, "disposition": index_disposition
    })
    return asked, table


def settings_of(
    snapshot: Snapshot, asked: Scope, window: int, index_disposition: str, level: float
) -> dict[str, object]:
    """What was asked, for the answer."""
    return {
        "window": window, "as_of": snapshot.day, "index_disposition": index_disposition, **asked.settings(),
        "level": level, "method": "wilson",
    }
