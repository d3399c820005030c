"""Lots of a part that send units back: each beside the part's other lots of about the same time."""

from typing import TYPE_CHECKING

from rqa.answers.comebacks.counted import CountedClasses
from rqa.answers.core.contrasts import Contrast, enough
from rqa.answers.core.scope import Snapshot
from rqa.answers.core.told_sites import told_where
from rqa.answers.improve.contrast_families import RETURNED, WINDOW, Span
from rqa.measures.run import counts

if TYPE_CHECKING:
    import polars as pl

OF_LOTS = "come-backs by lot of a part"
"""The kind of finding, as its name begins."""
MOST_ASIDE = 3
"""Lots set aside before the rest are compared; each costs another count."""


def lots(snapshot: Snapshot, span: Span, counted: CountedClasses) -> list[Contrast]:
    """Each lot of a part against the part's other lots of about the same time.

    A job with a bad lot often has lots of other parts in it that were fitted in the same weeks. So when a lot is worse
    by more than chance, the rest are counted again without the jobs it went into, until no such lot is left.
    """
    from rqa.stats import benjamini_hochberg

    all_months = _lot_months(snapshot, span, counted, [])
    months, aside, told = all_months, list[tuple[str, str]](), list[Contrast]()
    while True:
        found = against_other_lots(months, counted)
        sure = benjamini_hochberg(p_values=[c.p_value for _, c in found]).found.tolist() if found else []
        worse = [i for i, (_, c) in enumerate(found) if sure[i] and c.worse]
        if not worse or len(told) == MOST_ASIDE:
            return [*told, *(c for _, c in found)]
        # Among p-values too small for a number, the widest gap.
        surest = min(
            worse, key=lambda i: (found[i][1].p_value, found[i][1].other_share - found[i][1].share, found[i][0])
        )
        aside.append(found[surest][0])
        told.append(found[surest][1])
        months = _without(all_months, _lot_months(snapshot, span, counted, aside))


def _lot_months(
    snapshot: Snapshot, span: Span, counted: CountedClasses, beside: list[tuple[str, str]]
) -> "pl.DataFrame":
    """Counts by lot and month: of all jobs, or of those in which one of the lots `beside` was fitted."""
    first, last = span
    asked = {
        "window": WINDOW, "as_of": snapshot.day, "first_month": first, "last_month": last,
        "classes": list(counted.classes), "beside_parts": [p for p, _ in beside],
        "beside_lots": [lot for _, lot in beside],
        "sites": list(told_where(snapshot, {}, counted.classes).where.get("site", ())),
    }
    return counts(snapshot.store, "lot_months", values=asked)


def _without(months: "pl.DataFrame", some: "pl.DataFrame") -> "pl.DataFrame":
    """The counts less those of some of the jobs."""
    import polars as pl

    counted = ("matured", "returned")
    less = months.join(some, on=["part_no", "lot", "month"], how="left", suffix="_less", maintain_order="left")
    left = less.with_columns(pl.col(c) - pl.col(f"{c}_less").fill_null(0) for c in counted)
    return left.select(months.columns).filter(pl.col("matured") > 0)


def against_other_lots(months: "pl.DataFrame", counted: CountedClasses) -> list[tuple[tuple[str, str], Contrast]]:
    """Each lot large enough, with the part's other lots closed from the month before its first to that after its last.

    What changes over the year so does not set lots apart. `months` has part_no, lot, month, matured, returned.
    """
    import polars as pl

    lot = ["part_no", "lot"]
    own = months.group_by(lot, maintain_order=True).agg(
        pl.col("matured", "returned").sum(),
        pl.col("month").min().dt.offset_by("-1mo").alias("from"),
        pl.col("month").max().dt.offset_by("1mo").alias("to"),
    )
    beside = own.join(months, on="part_no", suffix="_other").filter(
        (pl.col("lot") != pl.col("lot_other")) & pl.col("month").is_between("from", "to")
    )
    others = beside.group_by(lot).agg(pl.col("matured_other", "returned_other").sum())
    rows = own.join(others, on=lot, maintain_order="left").select(
        *lot, "returned", "matured", "returned_other", "matured_other"
    )
    return [
        (
            (part, name),
            Contrast(
                f"{OF_LOTS}{counted.mark}", {"lot": name, "part_no": part},
                RETURNED.format(counted.said),
                events, size, other_events, other_size, "with the part's other lots of about the same time", False,
                "a lot is fitted in some weeks only: whatever else was different in them looks the same",
                "hold what is left of the lot; test it, and ask the supplier",
            ),
        )
        for part, name, events, size, other_events, other_size in rows.iter_rows()
        if other_size is not None and enough(size, other_size)
    ]
