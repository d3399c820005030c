"""Where to look: groups that differ from their comparison by more than luck, with false ones kept rare."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib.resources import files
from typing import Any

import polars as pl

from rqa.answers.scope import next_month
from rqa.review.asked import Asked
from rqa.review.facts import Pointer
from rqa.review.verdicts import discoveries, points
from rqa.words import count, month_name, percent, spoken

SMALLEST = 20
"""Groups of fewer cases are not shown on the manager's page: too little to say, and too easily one person."""
MOST = 8
"""Pointers listed; a longer list is not acted on."""
MOST_ASIDE = 3
"""Lots set aside before the rest are compared; each costs another count."""


@dataclass(frozen=True)
class Contrast:
    """One group against its comparison: events out of cases on both sides."""

    where: str
    what: str
    events: int
    size: int
    other_events: int
    other_size: int
    against: str
    up_is_good: bool
    caution: str
    check: str
    only_worse: bool = True
    """Compared both ways, and pointed at only when it is worse: beside one bad group all others look better."""

    @property
    def share(self) -> float:
        """The group's own share."""
        return self.events / self.size

    @property
    def other_share(self) -> float:
        """The share it is compared with."""
        return self.other_events / self.other_size

    @property
    def worse(self) -> bool:
        """Whether the group's share lies on the bad side of the other."""
        return self.share < self.other_share if self.up_is_good else self.share > self.other_share


UNLIKE = "the mix of work is not allowed for"


def pointers(depot: Asked, month: date, first: date, final: date | None) -> tuple[tuple[Pointer, ...], str]:
    """The groups to look at, and in words what was compared.

    Steps are compared up to `month`, come-backs up to the closing month `final`, the latest that has matured; both
    from `first` on.
    """
    contrasts = [*_steps_against_before(depot, month), *_steps_by_model(depot, (first, month))]
    if final is not None:
        span = (first, final)
        contrasts += [*_work(depot, span), *_benches(depot, span), *_lots(depot, span)]
    found = _more_than_luck(contrasts)
    looked = (
        f"{count(len(contrasts))} comparisons were made: each step with the year before and between models, and the "
        "come-backs on what the job had worked on (classes repeat and workmanship) between kinds of work, between "
        f"benches and between lots of a part, from {month_name(first)} on; groups of fewer than {SMALLEST} cases were "
        "left out. Of groups set beside their like the worse are named. Of those shown, one in twenty at most is "
        "expected to be luck (Benjamini and Hochberg 1995)."
    )
    return found, looked


def _sure(contrasts: list[Contrast]) -> tuple[list[float], list[bool]]:
    """How often luck alone would set each pair as far apart, and which pairs differ by more than luck."""
    by_luck = [_p_value(c.events, c.size, c.other_events, c.other_size) for c in contrasts]
    return by_luck, discoveries(by_luck)


@lru_cache(maxsize=100_000)
def _p_value(events: int, size: int, other_events: int, other_size: int) -> float:
    """Fisher's exact test, two-sided; most pairs are met again when lots are counted anew."""
    from rqa.stats import proportion_test

    found = proportion_test(successes1=events, trials1=size, successes2=other_events, trials2=other_size)
    return float(found.p_value)


def _more_than_luck(contrasts: list[Contrast]) -> tuple[Pointer, ...]:
    by_luck, sure = _sure(contrasts)
    told = (i for i, c in enumerate(contrasts) if sure[i] and (c.worse or not c.only_worse))
    # Among p-values too small for a number, the widest gap first.
    order = sorted(told, key=lambda i: (by_luck[i], -abs(contrasts[i].share - contrasts[i].other_share), i))
    return tuple(_pointer(contrasts[i]) for i in order[:MOST])


def _pointer(c: Contrast) -> Pointer:
    from rqa.stats import difference_interval

    apart = difference_interval(successes1=c.events, trials1=c.size, successes2=c.other_events, trials2=c.other_size)
    gap, low, high = (points(float(end)) for end in (apart.estimate, apart.low, apart.high))
    return Pointer(
        c.where,
        f"{c.what} {_share(c.events, c.size)}, {'worse' if c.worse else 'better'} than "
        f"{_share(c.other_events, c.other_size)} {c.against}",
        f"{gap} points (95 % interval {low} to {high})",
        c.caution,
        c.check,
    )


def _share(events: int, size: int) -> str:
    return f"{percent(events / size)} ({count(events)} of {count(size)})"


def _enough(*sizes: int) -> bool:
    return all(s >= SMALLEST for s in sizes)


def _totals(table: pl.DataFrame, keys: list[str], events: str, size: str) -> dict[tuple[Any, ...], tuple[int, int]]:
    summed = table.group_by(keys, maintain_order=True).agg(pl.col(events).sum(), pl.col(size).sum())
    return {tuple(row[:-2]): (int(row[-2]), int(row[-1])) for row in summed.iter_rows()}


def year_before(month: date) -> tuple[date, date]:
    """The twelve months before a month: first and last."""
    last = date(month.year - (month.month == 1), 12 if month.month == 1 else month.month - 1, 1)
    return date(month.year - 1, month.month, 1), last


def year_to(month: date) -> tuple[date, date]:
    """The twelve months that end with this one: first and last."""
    return year_before(next_month(month))


def _steps_against_before(depot: Asked, month: date) -> list[Contrast]:
    now = _totals(depot.first_pass_yield(by=("step",), months=month).table, ["step"], "passed", "exposures")
    then = depot.first_pass_yield(by=("step",), months=year_before(month)).table
    before = _totals(then, ["step"], "passed", "exposures")
    return [
        Contrast(
            f"step “{spoken(step)}”", f"first-pass yield in {month_name(month)}", *now[step,], *before[step,],
            "in the twelve months before", True, UNLIKE, "read the fault codes of the failed attempts; see five done",
            only_worse=False,
        )
        for (step,) in now
        if (step,) in before and _enough(now[step,][1], before[step,][1])
    ]  # fmt: skip


def _steps_by_model(depot: Asked, span: tuple[date, date]) -> list[Contrast]:
    keys = ["procedure", "step", "model"]
    totals = _totals(depot.first_pass_yield(by=keys, months=span).table, keys, "passed", "exposures")
    return [
        Contrast(
            f"step “{spoken(step)}” on {spoken(model)} ({spoken(procedure)})", "first-pass yield", *own, *rest,
            "on the other models", True, "models may differ by design", "compare how the step is done on both models",
        )
        for (procedure, step, model), own, rest in _each_against_rest(totals, alike=2, up_is_good=True)
    ]  # fmt: skip


Group = tuple[tuple[Any, ...], tuple[int, int], tuple[int, int]]


def _each_against_rest(
    totals: Mapping[tuple[Any, ...], tuple[int, int]], *, alike: int = 0, up_is_good: bool = False
) -> Iterator[Group]:
    """Each group large enough, its events and cases, and those of all others whose first `alike` names are the same.

    Of two groups just the worse: the better one would be the same comparison again.
    """
    events, cases, groups = Counter[Any](), Counter[Any](), Counter[Any]()
    for key, (e, n) in totals.items():
        events[key[:alike]] += e
        cases[key[:alike]] += n
        groups[key[:alike]] += 1
    for key, (e, n) in totals.items():
        kin = key[:alike]
        rest = (events[kin] - e, cases[kin] - n)
        above = e * rest[1] - rest[0] * n
        better = above > 0 if up_is_good else above < 0
        if _enough(n, rest[1]) and not (groups[kin] == 2 and better):
            yield key, (e, n), rest


OWN_WORK = {"class": ["repeat", "workmanship"]}
"""Classes of come-backs that the work on the bench, or a part fitted there, can have caused."""
WINDOW = 30
RETURNED = f"come-backs within {WINDOW} days on what the job had worked on,"


def _work(depot: Asked, span: tuple[date, date]) -> list[Contrast]:
    table = depot.comebacks(window=WINDOW, by=("model", "procedure"), where=OWN_WORK, months=span).table
    totals = _totals(table, ["model", "procedure"], "returned", "matured")
    return [
        Contrast(
            f"{spoken(procedure)} on {spoken(model)}", RETURNED, *own, *rest, "of all other work", False, UNLIKE,
            "read what the returns were found to have; see which steps touched it",
        )
        for (model, procedure), own, rest in _each_against_rest(totals)
    ]  # fmt: skip


def _benches(depot: Asked, span: tuple[date, date]) -> list[Contrast]:
    table = depot.comebacks(window=WINDOW, by=("bench",), where=OWN_WORK, months=span).table
    totals = _totals(table, ["bench"], "returned", "matured")
    return [
        Contrast(
            f"bench {spoken(bench)}", RETURNED, *own, *rest, "at the other benches", False,
            f"a job counts under every bench that worked on it; {UNLIKE}",
            "look at the order of steps, tools and light at the bench, not at persons",
        )
        for (bench,), own, rest in _each_against_rest(totals)
        if bench != "unknown"
    ]  # fmt: skip


def _lots(depot: Asked, span: tuple[date, date]) -> list[Contrast]:
    """Each lot of a part against the part's other lots of about the same time.

    A job with a bad lot often has lots of other parts in it that were fitted in the same weeks. So when a lot is worse
    by more than luck, the rest are counted again without the jobs it went into, until no such lot is left.
    """
    all_months = _lot_months(depot, span, [])
    months, aside, pointed = all_months, list[tuple[str, str]](), list[Contrast]()
    while True:
        found = against_other_lots(months)
        by_luck, sure = _sure([c for _, c in found])
        worse = [i for i, (_, c) in enumerate(found) if sure[i] and c.worse]
        if not worse or len(pointed) == MOST_ASIDE:
            return [*pointed, *(c for _, c in found)]
        # Among p-values too small for a number, the widest gap.
        surest = min(worse, key=lambda i: (by_luck[i], found[i][1].other_share - found[i][1].share, found[i][0]))
        aside.append(found[surest][0])
        pointed.append(found[surest][1])
        months = _without(all_months, _lot_months(depot, span, aside))


def _lot_months(depot: Asked, span: tuple[date, date], beside: list[tuple[str, str]]) -> pl.DataFrame:
    """Counts by lot and month: of all jobs, or of those in which one of the lots `beside` was fitted."""
    sql = (files("rqa.review") / "lots.sql").read_text(encoding="utf-8")
    first, last = span
    asked = {
        "window": WINDOW, "as_of": depot.as_of.date(), "first_month": first, "last_month": last,
        "classes": OWN_WORK["class"], "beside_parts": [p for p, _ in beside], "beside_lots": [lot for _, lot in beside],
    }  # fmt: skip
    return depot.query(sql, asked)


def _without(months: pl.DataFrame, some: pl.DataFrame) -> pl.DataFrame:
    """The counts less those of some of the jobs."""
    counted = ("matured", "returned")
    less = months.join(some, on=["part_no", "lot", "month"], how="left", suffix="_less", maintain_order="left")
    left = less.with_columns(pl.col(c) - pl.col(f"{c}_less").fill_null(0) for c in counted)
    return left.select(months.columns).filter(pl.col("matured") > 0)


def against_other_lots(months: pl.DataFrame) -> list[tuple[tuple[str, str], Contrast]]:
    """Each lot large enough, with the part's other lots closed from the month before its first to that after its last.

    What changes over the year so does not set lots apart. `months` has part_no, lot, month, matured, returned.
    """
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
                f"lot {name} of part {part}", RETURNED, events, size, other_events, other_size,
                "with the part's other lots of about the same time", False,
                "a lot is fitted in some weeks only: whatever else was different in them looks the same",
                "hold what is left of the lot; test it, and ask the supplier",
            ),
        )
        for part, name, events, size, other_events, other_size in rows.iter_rows()
        if _enough(size, other_size)
    ]  # fmt: skip
