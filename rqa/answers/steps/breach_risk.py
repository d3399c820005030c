"""Whether jobs with a breach come back more often than like jobs without it, and which benches have more breaches."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.comparable_work import against_comparable_work
from rqa.answers.core.contrasts import enough
from rqa.answers.core.finding import PEOPLE, Finding
from rqa.answers.core.result import rounded, rounded_p_values, with_shares
from rqa.answers.steps.breach_kinds import BATTERY, BESIDE, CAUTION, CHECKS, WORDS
from rqa.words import count, counted, percent, spoken

if TYPE_CHECKING:
    import polars as pl

COUNTED = ("jobs", "matured", "returned", "breached", "breached_matured", "breached_returned")
STRATA = ("of_procedure", "of_model")
FEW = 5
"""Come-backs seen or expected after a breach below which limits are the exact ones, of the odds ratio."""
MOST_EVENTS = 2_000
"""Come-backs up to which there are exact limits."""
OTHERS = ("other_jobs", "other_breached")
COMPARED = ("expected", "ratio", "ratio_low", "ratio_high", "p_value", "p_adjusted")
Counts = NDArray[np.int64]


def with_risk(table: "pl.DataFrame", keys: Sequence[str], level: float) -> "pl.DataFrame":
    """Counts by keys, procedure and model become rows by keys: how often the breached come back, beside like jobs.

    Adds measure, ratio, ratio_low, ratio_high, p_value, p_adjusted, expected and verdict to the counts.
    """
    import polars as pl

    from rqa.stats import benjamini_hochberg

    rows = table.group_by(keys).agg(pl.col(COUNTED).sum()).sort(keys) if keys else table.select(pl.col(COUNTED).sum())
    if not rows.height:
        return rows.with_columns(
            *(pl.lit(None, dtype=pl.String).alias(n) for n in ("measure", "verdict")),
            *(pl.lit(None, dtype=pl.Float64).alias(n) for n in (*_NUMBERS, "p_value", "p_adjusted")),
        )
    cells = _by_work(table, rows, keys, ("breached_matured", "breached_returned", "matured", "returned"))
    with_, events, cases, all_events = cells[0], cells[1], cells[2], cells[3]
    like = against_comparable_work(events=events, cases=with_, all_events=all_events, all_cases=cases)
    tables = np.stack([events, with_ - events, all_events - events, (cases - with_) - (all_events - events)], axis=-1)
    measures, numbers = _ratios(tables.reshape(*events.shape, 2, 2), like.observed, like.expected, level)
    # Where all came back or none did, whatever was done, nothing differs: p = 1.
    p_value = np.where(like.comparable > 0, np.nan_to_num(like.p_value, nan=1.0), np.nan)
    adjusted = benjamini_hochberg(p_values=p_value).p_adjusted
    rows = rows.with_columns(
        pl.Series("measure", measures, dtype=pl.String),
        *(rounded(values).alias(name) for name, values in numbers.items()),
        rounded(_without(events, with_, all_events, cases)).alias("expected"),
        rounded_p_values(p_value).alias("p_value"),
        rounded_p_values(adjusted).alias("p_adjusted"),
    )
    return rows.with_columns(pl.Series("verdict", _verdicts(rows), dtype=pl.String))


def _without(events: Counts, with_: Counts, all_events: Counts, cases: Counts) -> NDArray[np.float64]:
    """The come-backs of as many jobs of the same kinds without the breach; the test's own expectation has those with it
    among its jobs, so what the breach brings would come out too small."""
    others = cases - with_
    rate = np.divide(all_events - events, others, out=np.zeros(others.shape), where=others > 0)
    expected: NDArray[np.float64] = (with_ * rate).sum(axis=1)
    return expected


_NUMBERS = ("ratio", "ratio_low", "ratio_high", "expected")


def _ratios(
    tables: Counts, observed: Counts, expected: NDArray[np.float64], level: float
) -> tuple[list[str | None], dict[str, NDArray[np.float64]]]:
    """The risk ratio over kinds of work; where come-backs are few, the odds ratio with exact limits."""
    from rqa.stats import exact_common_odds, mantel_haenszel

    r = mantel_haenszel(tables, measure="risk", level=level)
    made = np.stack([r.estimate, r.low, r.high], axis=-1)
    measures: list[str | None] = []
    for i, one in enumerate(tables):
        sparse = min(observed[i], expected[i]) < FEW
        if not one[:, 0].sum() or not r.strata[i]:
            measures.append(None)
        elif sparse and one[:, :, 0].sum() <= MOST_EVENTS:
            exact = exact_common_odds(one, level=level)
            made[i] = exact.estimate, exact.low, exact.high
            measures.append("odds ratio, exact")
        else:
            measures.append("risk ratio")
    made = np.where(np.isfinite(made), made, np.nan)
    return measures, {"ratio": made[:, 0], "ratio_low": made[:, 1], "ratio_high": made[:, 2]}


def _verdicts(rows: "pl.DataFrame") -> list[str]:
    said = []
    for matured, p, ratio in rows.select("breached_matured", "p_adjusted", "ratio").rows():
        if matured < FEW:
            said.append("too little work to say")
        elif p is None:
            said.append("nothing to compare with")
        elif p > 0.05 or ratio is None:
            said.append("not distinguishable")
        else:
            said.append("comes back more often" if ratio > 1 else "comes back less often")
    return said


def _by_work(table: "pl.DataFrame", rows: "pl.DataFrame", keys: Sequence[str], names: Sequence[str]) -> list[Counts]:
    """Each count as rows x kinds of work."""
    import polars as pl

    summed = table.group_by([*keys, *STRATA]).agg(pl.col(names).sum())
    works = {w: i for i, w in enumerate(summed.select(STRATA).unique().sort(STRATA).rows())}
    places = {k: i for i, k in enumerate(rows.select(keys).rows())} if keys else {(): 0}
    made = [np.zeros((rows.height, len(works)), dtype=np.int64) for _ in names]
    n = len(keys)
    for row in summed.rows():
        for array, value in zip(made, row[n + 2 :], strict=True):
            array[places[row[:n]], works[row[n : n + 2]]] = value
    return made


def by_bench(table: "pl.DataFrame", level: float) -> "pl.DataFrame":
    """Each bench's share of jobs with a breach, beside what comparable work has at the others.

    kind, bench, jobs, breached, other_jobs, other_breached (of all other benches, whatever their work), share, low,
    high, expected (what the bench's work brings in the whole depot, its own jobs included), ratio (of the shares, to
    the other benches, on comparable work), ratio_low, ratio_high, p_value, p_adjusted.
    """
    import polars as pl

    from rqa.stats import benjamini_hochberg, mantel_haenszel

    told = table.filter((pl.col("step") == "") & ~pl.col("kind").is_in(["", *BATTERY, *BESIDE]))
    whole = told.group_by("kind").agg(pl.col("breached").sum()).filter(pl.col("breached") > 0)["kind"].to_list()
    parts = []
    for kind in sorted(whole):
        here = told.filter(pl.col("kind") == kind)
        rows = here.group_by("kind", "bench").agg(pl.col("jobs", "breached").sum()).sort("kind", "bench")
        cases, events = _by_work(here, rows, ["kind", "bench"], ("jobs", "breached"))
        all_cases, all_events = cases.sum(axis=0), events.sum(axis=0)
        like = against_comparable_work(events=events, cases=cases, all_events=all_events, all_cases=all_cases)
        rest, rest_events = all_cases - cases, all_events - events
        tables = np.stack([events, cases - events, rest_events, rest - rest_events], axis=-1)
        r = mantel_haenszel(tables.reshape(*events.shape, 2, 2), measure="risk", level=level)
        parts.append(rows.with_columns(
            rounded(like.expected).alias("expected"), _finite(r.estimate).alias("ratio"),
            _finite(r.low).alias("ratio_low"), _finite(r.high).alias("ratio_high"),
            rounded_p_values(np.where(like.comparable > 0, like.p_value, np.nan)).alias("p_value"),
            (pl.Series(like.comparable)).alias("comparable"),
            pl.Series("other_jobs", rest.sum(axis=1)), pl.Series("other_breached", rest_events.sum(axis=1)),
        ))
    if not parts:
        counted = dict.fromkeys(("jobs", "breached", *OTHERS), pl.Int64)
        rest = dict.fromkeys(("share", "low", "high", *COMPARED), pl.Float64)
        return pl.DataFrame(schema=dict.fromkeys(("kind", "bench"), pl.String) | counted | rest)
    made = pl.concat(parts)
    made = made.filter(
        ~pl.col("bench").is_in(["unknown", "several"]) & pl.Series([enough(n) for n in made["comparable"]])
    )
    if made.height:
        made = made.with_columns(
            rounded_p_values(benjamini_hochberg(p_values=made["p_value"].fill_null(float("nan")).to_numpy()).p_adjusted)
            .alias("p_adjusted")
        )
    else:
        made = made.with_columns(pl.lit(None, dtype=pl.Float64).alias("p_adjusted"))
    made = with_shares(made, part="breached", whole="jobs", share="share", level=level)
    return made.select(
        "kind", "bench", "jobs", "breached", *OTHERS, "share", "low", "high", *COMPARED,
    )


def _finite(values: NDArray[np.float64]) -> "pl.Series":
    return rounded(np.where(np.isfinite(values), values, np.nan))


def of_comebacks(rows: "pl.DataFrame", by: Sequence[str], window: int) -> Iterator[Finding]:
    """What the come-backs after each breach state; rows without a comparison state nothing."""
    for r in rows.filter(rows["p_value"].is_not_null()).iter_rows(named=True):
        place = {name: spoken(r[name]) for name in by}
        step = {"step": r["step"]} if r.get("step") else {}
        others = r["returned"] - r["breached_returned"], r["matured"] - r["breached_matured"]
        yield Finding(
            kind="come-backs after a breach of the procedure",
            scope={**place, "breach": WORDS[r["kind"]], **step},
            what=(
                f"of jobs with {WORDS[r['kind']]}{_at(step)}, {_share(r['breached_returned'], r['breached_matured'])} "
                f"came back within {counted(window, 'day')}, of jobs that could have had it and did not "
                f"{_share(*others)}"
            ),
            measure=f"{r['measure']}, on comparable work",
            size=r["ratio"] if r["ratio"] is not None else float("inf"),
            low=r["ratio_low"] if r["ratio_low"] is not None else 0.0,
            high=r["ratio_high"] if r["ratio_high"] is not None else float("inf"),
            worse=r["ratio"] is None or r["ratio"] > 1,
            mirrored=True,
            jobs=r["breached_matured"],
            p_value=r["p_value"],
            caution=CAUTION + (PEOPLE if "technician" in by else ""),
            check=CHECKS[r["kind"]],
            avoided=max(0.0, r["breached_returned"] - r["expected"]),
            events=r["breached_returned"],
        )


def of_benches(benches: "pl.DataFrame", place: Mapping[str, str]) -> Iterator[Finding]:
    """What each bench's breaches state beside the others."""
    if not benches.height:
        return
    for r in benches.filter(benches["p_value"].is_not_null()).iter_rows(named=True):
        ratio: Any = r["ratio"]
        yield Finding(
            kind="breaches of the procedure, by bench",
            scope={**place, "bench": r["bench"], "breach": WORDS[r["kind"]]},
            what=(
                f"{WORDS[r['kind']]} in {_share(r['breached'], r['jobs'])} of its jobs, elsewhere in "
                f"{_share(r['other_breached'], r['other_jobs'])}"
            ),
            measure="ratio of shares, on comparable work",
            size=ratio if ratio is not None else float("inf"),
            low=r["ratio_low"] if r["ratio_low"] is not None else 0.0,
            high=r["ratio_high"] if r["ratio_high"] is not None else float("inf"),
            worse=r["breached"] > r["expected"],
            mirrored=True,
            jobs=r["jobs"],
            p_value=r["p_value"],
            caution=CAUTION,
            check=CHECKS[r["kind"]],
            events=r["breached"],
        )


def _at(step: Mapping[str, str]) -> str:
    return f" at “{step['step']}”" if step else ""


def _share(events: int, of: int) -> str:
    return f"{percent(events / of) if of else 'none'} ({count(events)} of {count(of)})"
