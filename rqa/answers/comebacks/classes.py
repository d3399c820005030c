"""Why units come back: classes of come-backs, as shares of the returns and as shares of all jobs."""

import numpy as np

from rqa.answers.core.case_lists import COMEBACKS, CaseList, Count
from rqa.answers.core.follow_up_counts import (
    WHOLE,
    FollowUp,
    column,
    days_asked,
    follow_up,
    group_numbers,
    measure_for,
    notes_on,
)
from rqa.answers.core.ground_list import FOUND
from rqa.answers.core.own_work import untold_classes, workmanship_untold
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import By, Months, Snapshot, Where, check_level
from rqa.contract import CLASSES
from rqa.measures.groupings import STEP_LOG, TEST_LOG
from rqa.measures.run import counts

QUESTION = "comeback_causes"
GROUPINGS = (*WHOLE, *STEP_LOG, *TEST_LOG)


class ComebackCauses(Answer):
    """Classes of come-backs: class, returned, of_returns, low, high, median_day, incidence and its limits."""

    question = "Classes of come-backs"
    needs = FOUND
    lists = CaseList("listed_index_jobs", {"returned": Count(("returned",), classed=True)}, rows=COMEBACKS)


def comeback_causes(
    snapshot: Snapshot,
    window: int = 30,
    *,
    by: By = (),
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> ComebackCauses:
    """Say which classes the come-backs are of, and what share of the jobs each class sends back.

    Groupings as of `comebacks`, class aside. Each group has a row for every class: returned (of the class, among jobs
    that matured, within `window` days); of_returns, its share of all those returns with Wilson's low and high; median_
    day, the day by which half of the class's returns have come; incidence, the share of all jobs that come back with
    this class by the window's end, with incidence_low and incidence_high (Aalen-Johansen, every job as far as it was
    followed, other classes and retirement competing). The incidences of a group's classes add up to its share of
    come-backs. Groups without jobs have no rows; without returns of_returns is null. Where
    no return has its fault written down, nothing but its count is told of the classes that hang on it; jobs of sites at
    which that is so are left out, and a note says so.

    >>> r = depot.returns.classes().table.sort("returned")
    >>> r.select("class", "returned", "of_returns").row(-1)
    ('workmanship', 84, 0.604317)

    Six come-backs of ten are of workmanship.
    """
    import polars as pl

    from rqa.stats import cumulative_incidence, proportion_interval

    check_level(QUESTION, level)
    window = days_asked(QUESTION, "window", window)
    seen = follow_up(
        QUESTION, snapshot, by=by, where=where, months=months, index_disposition=index_disposition, upto=window,
        classes=((c,) for c in CLASSES), allowed=GROUPINGS,
    )
    causes = np.concatenate((seen.returned, seen.retired[..., np.newaxis]), axis=-1)
    curves = cumulative_incidence(day=seen.day, returned=causes, censored=seen.followed, level=level)
    at = curves.on_days(window)
    groups, classes = len(seen.jobs), len(CLASSES)
    returned = _matured(snapshot, seen, window, index_disposition)
    share = proportion_interval(
        successes=returned, trials=np.broadcast_to(returned.sum(axis=1, keepdims=True), returned.shape), level=level
    )
    ripe = np.nan_to_num(curves.share[:, : window + 1, :classes], nan=-1.0)
    whole = at.share[:, 0, :classes]
    half = np.where(whole > 0, (ripe >= whole[:, np.newaxis] / 2 - 1e-12).argmax(axis=1), np.nan)
    row = np.repeat(np.arange(groups), classes)
    columns = {
        "returned": returned, "of_returns": share.estimate, "low": share.low, "high": share.high, "median_day": half,
        "incidence": whole, "incidence_low": at.low[:, 0, :classes], "incidence_high": at.high[:, 0, :classes],
    }
    table = pl.DataFrame([
        *(seen.groups[name].gather(row) for name in seen.asked.by),
        pl.Series("class", CLASSES * groups, dtype=pl.String),
        *(column(name, values.ravel()) for name, values in columns.items()),
    ])
    shares = [name for name in columns if name != "returned"]
    known = ~pl.col("class").is_in(untold_classes(snapshot))
    table = table.with_columns(pl.when(known).then(pl.col(name)).alias(name) for name in shares)
    settings = {
        "window": window, "as_of": snapshot.day, "index_disposition": index_disposition, **seen.asked.settings(),
        "level": level, "method": "wilson; Aalen-Johansen",
    }
    notes = notes_on(snapshot, seen, index_disposition, competing=True)
    notes.append("returned counts matured jobs alone; incidence uses every job as far as it was followed.")
    new = table.filter((pl.col("class") == "new_fault") & ((pl.col("returned") > 0) | (pl.col("incidence") > 0)))
    notes += workmanship_untold(snapshot, new_faults=new.height)
    return ComebackCauses(table, settings, tuple(notes))


def _matured(
    snapshot: Snapshot, seen: FollowUp, window: int, index_disposition: str
) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """Returns within the window among matured jobs, by group and class."""
    asked = seen.asked
    table = counts(
        snapshot.store, measure_for(QUESTION, asked, "comebacks"), by=asked.by, where=asked.where, months=asked.months,
        values={"window": window, "as_of": snapshot.day, "disposition": index_disposition},
    )
    _, group = group_numbers(table, asked.by)
    kept = table["class"].is_not_null().to_numpy()
    made = np.zeros((len(seen.jobs), len(CLASSES)), dtype=np.int64)
    place = np.array([CLASSES.index(c) for c in table["class"].to_list() if c is not None], dtype=np.int64)
    np.add.at(made, (group[kept], place), table["returned"].to_numpy()[kept])
    return made
