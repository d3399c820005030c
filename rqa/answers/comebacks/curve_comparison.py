"""Do groups come back at the same pace: log-rank over the first days, and each group's share beside the others'."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.follow_up_counts import (
    WHOLE,
    Cause,
    Counts,
    FollowUp,
    by_group,
    causes_asked,
    days_asked,
    follow_up,
    group_numbers,
    notes_on,
    told,
)
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.result import Answer
from rqa.answers.core.scope import By, Months, Snapshot, Where, check_level, check_one_of, named_groups
from rqa.arguments import Numbers
from rqa.contract import CLASSES
from rqa.errors import RequestError
from rqa.words import counted

if TYPE_CHECKING:
    from rqa.stats import CumulativeIncidence, KaplanMeier

QUESTION = "compare_curves"
WEIGHTS = ("log-rank", "gehan", "tarone-ware", "fleming-harrington")


@dataclass(frozen=True, eq=False, repr=False)
class CurveComparison(Answer):
    """Groups beside the others: jobs, observed, expected, share, low, high, others, difference, ratio, their limits.

    `p_value` is that of the log-rank test of all groups being alike, None where nothing can be compared.
    """

    statistic: float | None = None
    degrees_of_freedom: int = 0
    p_value: float | None = None

    question = "Come-back curves compared"
    in_table_only = ("difference_low", "difference_high", "ratio_low", "ratio_high")
    needs = SEEN

    def listed(self) -> CaseList:
        """Followed over the window compared."""
        return CaseList(
            "listed_followed_jobs", {"jobs": Count(), "observed": Count(("returned",), classed=True)},
            values={"upto": self.settings["window"]}, returned="observed",
        )


def compare_curves(
    snapshot: Snapshot,
    by: By,
    *,
    window: int = 30,
    within: By = (),
    cause: Cause = None,
    weights: str = "log-rank",
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> CurveComparison:
    """Say whether groups of jobs came back at the same pace over the first `window` days, and by how much each differs.

    Parameters
    ----------
    by, where, months
        Groupings under which a job counts once (month, week, site, model, procedure, technician, billing), filters,
        closing months.
    window
        Days compared, and the day on which shares are compared.
    within
        Groupings that make strata: the test then compares only jobs that are alike in these, such as model.
    cause
        A class of come-back, or several together; the test then takes the others as no longer followed, the shares let
        them compete.
    weights
        "log-rank" (all days alike), "gehan" or "tarone-ware" (early days more), "fleming-harrington" (early days, by
        the share still out). To be chosen before looking.

    Returns
    -------
    CurveComparison
        A row a group: jobs; observed returns and expected ones, were all groups alike day by day (in strata); share
        returned by the window's end with low and high; others, the share of all other groups together; difference and
        ratio of the two with limits. `statistic`, `degrees_of_freedom` and `p_value` are those of the test.

    Notes
    -----
    Shares, differences and ratios are not stratified: a group with harder work looks worse than it is, unless `where`
    makes the work alike. Each group's limits are for a group chosen beforehand; of many groups some will lie apart by
    chance. Units with several jobs make the p-value somewhat small.

    Raises `RequestError` for groupings that share jobs, fewer than one grouping, or a name that does not exist.

    Examples
    --------
    >>> r = depot.returns.compare_curves("model")
    >>> round(r.p_value, 1)
    0.6

    With a p-value of 0.6 the models do not come back at paces that can be told apart.
    """
    from rqa.stats import incidence_contrast, log_rank

    check_level(QUESTION, level)
    window = days_asked(QUESTION, "window", window)
    wanted = causes_asked(QUESTION, cause)
    check_one_of(QUESTION, "weights", weights, WEIGHTS)
    names = named_groups(QUESTION, by)
    strata = named_groups(QUESTION, within)
    if not names:
        raise RequestError(f"{QUESTION}: by= names what is to be compared, such as model.")
    fine = follow_up(
        QUESTION, snapshot, by=(*names, *strata), where=where, months=months, index_disposition=index_disposition,
        upto=window, classes=(wanted,), allowed=WHOLE,
    )
    own = np.array([not wanted or c in wanted for c in CLASSES])
    back, gone = _in_strata(fine, names, strata, own)
    # What lies beyond the window's last day ends there for the test.
    test = log_rank(day=fine.day, returned=back, censored=gone, weights=weights)  # type: ignore[arg-type]
    seen = _together(fine, names)
    one, two = _curves(seen, wanted, level), _curves(_others(seen), wanted, level)
    apart = incidence_contrast(one=one, two=two, day=window)
    at = one.on_days(window)
    columns = {
        "jobs": seen.jobs, "observed": test.observed, "expected": test.expected,
        "share": _first(at.share, 2), "low": _first(at.low, 2), "high": _first(at.high, 2),
        "others": _first(apart.share2, 1),
    }
    for name in ("difference", "ratio"):
        columns |= {name + end: _first(getattr(apart, name + end), 1) for end in ("", "_low", "_high")}
    found, columns = told(snapshot, wanted, columns)
    known = found and test.degrees_of_freedom > 0
    settings = {
        "window": window, "as_of": snapshot.day, "cause": wanted, "within": strata, "weights": weights,
        "index_disposition": index_disposition, **seen.asked.settings(), "level": level, "method": "log-rank",
    }
    notes = notes_on(snapshot, seen, index_disposition, competing=bool(wanted))
    if found:
        notes.append(_said(test.p_value, test.degrees_of_freedom, window, strata))
    return CurveComparison(
        by_group(seen, columns), settings, tuple(notes),
        statistic=test.statistic if known else None, degrees_of_freedom=test.degrees_of_freedom if found else 0,
        p_value=test.p_value if known else None,
    )


def _first(values: Numbers, axes: int) -> Numbers:
    """By group: the one day where there is an axis of days (`axes` 2), and the cause asked for if there are causes."""
    one_day = values[:, 0] if axes == 2 else values
    return one_day[:, 0] if one_day.ndim == 2 else one_day


def _said(p: float, freedom: int, window: int, strata: tuple[str, ...]) -> str:
    if not freedom:
        return "There are no two groups with come-backs to compare."
    alike = f" within {' and '.join(strata)}" if strata else ""
    return (
        f"Were the groups alike{alike}, chance would set their come-backs of the first {counted(window, 'day')} as far "
        f"apart {'less than once in 1,000 times' if p < 0.001 else f'in {p * 100:.1f} of 100 times'} (log-rank test)."
    )


def _in_strata(fine: FollowUp, names: tuple[str, ...], strata: tuple[str, ...], own: Any) -> tuple[Counts, Counts]:
    """Returns that count and all other ends, by stratum, group and day."""
    groups, group = group_numbers(fine.groups, names)
    layers, layer = group_numbers(fine.groups, strata)
    shape = (max(layers.height, 1), groups.height, fine.day.size)
    back, gone = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
    np.add.at(back, (layer, group), fine.returned[..., own].sum(axis=-1))
    np.add.at(gone, (layer, group), fine.returned[..., ~own].sum(axis=-1) + fine.censored)
    return back, gone


def _together(fine: FollowUp, names: tuple[str, ...]) -> FollowUp:
    """The counts over all strata."""
    groups, group = group_numbers(fine.groups, names)

    def summed(counts: Counts) -> Counts:
        total = np.zeros((groups.height, *counts.shape[1:]), dtype=np.int64)
        np.add.at(total, group, counts)
        return total

    asked = replace(fine.asked, by=names)
    return FollowUp(asked, groups, fine.day, summed(fine.returned), summed(fine.retired), summed(fine.followed))


def _others(seen: FollowUp) -> FollowUp:
    """For each group, all the others together."""
    parts = (c.sum(axis=0, keepdims=True) - c for c in (seen.returned, seen.retired, seen.followed))
    return FollowUp(seen.asked, seen.groups, seen.day, *parts)


def _curves(seen: FollowUp, wanted: tuple[str, ...], level: float) -> "KaplanMeier | CumulativeIncidence":
    from rqa.answers.comebacks.curves import by_cause
    from rqa.stats import kaplan_meier

    if wanted:
        return by_cause(seen, wanted, level)
    return kaplan_meier(day=seen.day, returned=seen.back, censored=seen.censored, level=level)
