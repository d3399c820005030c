"""Which lot of a part sends units back: each lot beside the other lots of its part."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.follow_up_counts import check_index_disposition, days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.readable import SHARE
from rqa.answers.core.result import Answer, rounded_p_values, with_shares
from rqa.answers.core.scope import By, Months, Snapshot, Where, check_level, check_values, scope, whole_number
from rqa.measures.groupings import JOB_NAMES, PARTS_LIST
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "lots"
NO_GROUPS: By = ()


class Lots(Answer):
    """Lots beside the other lots of their part: part_no, lot, matured, returned, rate, low, high, other_matured,
    other_returned, other_rate, p_value, p_adjusted."""

    question = "Come-backs by lot of a part"
    in_table_only = ("low", "high")
    units: ClassVar[Mapping[str, str]] = {"other_rate": SHARE}
    needs = (*SEEN, "matured_jobs", "parts", "lot")
    lists = CaseList(
        "listed_index_jobs", {"matured": Count(("matured",)), "returned": Count(("returned",))}, of_rows=PARTS_LIST
    )
    nothing_found = "No lot with enough matured jobs stands beside enough jobs with other lots of its part."


def lots(
    snapshot: Snapshot,
    window: int = 30,
    *,
    where: Where | None = None,
    months: Months | None = None,
    min_jobs: int = SMALLEST,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> Lots:
    """Say which lots of a part came back more often than the other lots of the same part.

    `where` takes site, model, procedure, technician, billing, part_no and lot; `months` are closing months. A lot is
    listed if `min_jobs` matured jobs hold it and as many hold other lots of its part: matured, returned (back within
    `window` days, whatever was found), rate with Wilson's low and high; the same of the part's other lots; p_value of
    Fisher's exact test that the two rates are one, two-sided; p_adjusted over all
    lots of all parts compared, whichever are shown (Benjamini and Hochberg 1995; `settings["compared"]`). Those
    furthest above the other lots come first.

    A lot is fitted in some weeks only, so whatever else was different in these weeks looks the same as the lot. Lots
    of other parts that went into the same jobs share their come-backs. `depot.findings` allows for both.

    >>> depot.returns.lots().table.select("part_no", "lot", "matured", "returned", "rate").row(0)
    ('AC-31', 'K-2541', 40, 13, 0.325)

    Of 40 jobs with this lot 13 were back within 30 days, which chance alone hardly brings (see `p_adjusted`).
    """
    import polars as pl

    from rqa.stats import benjamini_hochberg

    days_asked(QUESTION, "window", window)
    check_index_disposition(QUESTION, index_disposition)
    check_level(QUESTION, level)
    whole_number(QUESTION, "min_jobs", min_jobs, 1, of="jobs")
    asked = scope(QUESTION, by=NO_GROUPS, where=where, months=months, allowed=("month", *JOB_NAMES, *PARTS_LIST))
    check_values(snapshot.store, QUESTION, asked.where)
    chosen = {name: kept for name, kept in asked.where.items() if name in PARTS_LIST}
    beside = {name: kept for name, kept in asked.where.items() if name not in PARTS_LIST}
    values = {"window": window, "as_of": snapshot.day, "disposition": index_disposition}
    each = counts(snapshot.store, "comebacks_by_lot", by=PARTS_LIST, where=beside, months=asked.months, values=values)
    part = each.with_columns(
        (pl.col(name).sum().over("part_no") - pl.col(name)).alias(f"other_{name}") for name in ("matured", "returned")
    )
    enough = part.filter((pl.col("matured") >= min_jobs) & (pl.col("other_matured") >= min_jobs))
    made = with_shares(enough, part="returned", whole="matured", share="rate", level=level)
    others = with_shares(enough, part="other_returned", whole="other_matured", share="other_rate", level=level)
    made = made.with_columns(others["other_rate"])
    p_values = _p_values(enough)
    adjusted: list[float] = benjamini_hochberg(p_values=p_values).p_adjusted.tolist() if p_values else []
    made = made.with_columns(
        rounded_p_values(p_values).alias("p_value"), rounded_p_values(adjusted).alias("p_adjusted")
    )
    compared = made.height
    for name, kept in chosen.items():
        each, made = (table.filter(pl.col(name).is_in(kept)) for table in (each, made))
    few = each.height - made.height
    worst = (pl.col("rate") - pl.col("other_rate")).alias("gap")
    table = made.sort(worst, "part_no", "lot", descending=[True, False, False]).select(
        "part_no", "lot", "matured", "returned", "rate", "low", "high", "other_matured", "other_returned",
        "other_rate", "p_value", "p_adjusted",
    )
    settings = {
        "window": window, "as_of": snapshot.day, "index_disposition": index_disposition, "by": PARTS_LIST,
        "where": dict(asked.where), "months": asked.months, "min_jobs": min_jobs, "level": level,
        "compared": compared,
        "method": "wilson; Fisher's exact test",
    }
    return Lots(table, settings, (*snapshot.notes, *asked.left_out, *_notes(few, table, compared)))


def _p_values(table: "pl.DataFrame") -> list[float]:
    from rqa.stats import proportion_test

    if table.is_empty():
        return []
    found = proportion_test(
        successes1=table["returned"].to_numpy(), trials1=table["matured"].to_numpy(),
        successes2=table["other_returned"].to_numpy(), trials2=table["other_matured"].to_numpy(),
    )
    return [float(p) for p in found.p_value]


def _notes(few: int, table: "pl.DataFrame", compared: int) -> list[str]:
    if table.is_empty():
        return []
    notes = [
        "A job counts once under each lot fitted in it. A lot and the weeks in which it was fitted cannot be "
        "separated by this table alone.",
        f"p_adjusted allows for all {counted(compared, 'lot')} compared, of any part, whichever are shown.",
    ]
    if few:
        notes.append(f"{counted(few, 'lot')} with too few jobs, of its own or of other lots of its part, left out.")
    return notes
