"""What a test's limit, set tighter or looser, would have done to past jobs: escapes against extra work."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.filters import filters_of
from rqa.answers.core.follow_up_counts import check_index_disposition, days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.kept_counts import kept_counts
from rqa.answers.core.persons import PEOPLE
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Months, Scope, Snapshot, Where, check_level, check_one_of, check_values, scope
from rqa.answers.core.told_sites import telling_scope
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES

if TYPE_CHECKING:
    import polars as pl

QUESTION = "limits_tradeoff"
SIDES = ("lower", "upper")
CUTS = 100
"""Parts into which the jobs in order of value, and their range, are cut: about twice as many limits are tried."""
FEW = 10
"""Escapes below which a curve says little."""
KEYS = ["test", "unit"]
OUTCOMES = ("escaped", "mended", "sound", "retested", "unknown", "back")
COUNTED = ("caught", "missed", "held", "passed")
SHARED = ("caught_share", "caught_low", "caught_high", "held_share", "held_low", "held_high")


@dataclass(frozen=True, eq=False, repr=False)
class LimitChoices(Answer):
    """What other limits would have done: test, unit, side, limit, at_present, caught, missed, held, passed,
    caught_share, caught_low, caught_high, held_share, held_low, held_high, escapes_caught, escapes_missed, extra_held,
    spared, let_through.

    `tests` has a row a curve: test, unit, side, present_limit, jobs, escaped, mended, sound, retested, unknown, back,
    area, area_passed.
    """

    tests: "pl.DataFrame | None" = None

    question = "Limits and what they let through"
    in_table_only = (
        "unit", "caught", "missed", "held", "passed", "caught_low", "caught_high", "held_low", "held_high", "spared",
    )
    needs = ("test_values", "test_limits", *SEEN)
    apart = ("limit",)
    lists = "It is made from measured values. Ask the table diagnostics with depot.query for each."


def limits_tradeoff(
    snapshot: Snapshot,
    test: str | Sequence[str] | None = None,
    *,
    side: str | None = None,
    window: int = 30,
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> LimitChoices:
    """Say, limit by limit, how many past jobs a measured test would have caught rightly, missed, or held back in vain.

    Parameters
    ----------
    test
        One test or several; None takes all that measured something.
    side
        "upper": jobs above the limit fail. "lower": jobs below it. None takes each side on which the test has a limit.
    window
        Days within which a return counts; only jobs followed for as long are counted.
    where, months
        Filters on site, model, procedure, technician, billing; closing months.
    index_disposition, level
        Disposition of the jobs; level of the intervals.

    Returns
    -------
    LimitChoices
        A row a test, side and limit, from the loosest to the tightest. caught and missed: faulty jobs beyond the limit
        and within; held and passed: sound ones; their shares with Wilson's limits. Against the limit as it is:
        escapes_caught, escapes_missed, extra_held (sound jobs that passed and would be held), spared (jobs held in vain
        that would pass), let_through (jobs mended that would pass unmended). at_present marks the limit as it is.
        `.tests` sums up each curve. `area` is the chance that a faulty job lies further out than a sound one;
        `area_passed` the same of those that passed, escapes against sound ones: what a tighter limit can do.

    Notes
    -----
    A job's value is that of its final passing run, or of its first run where that failed by its value. Faulty: came
    back within the window for a fault in the subsystem the test covers (an escape), or failed by its value and had work
    done before it passed (mended). Sound: passed and did not come back so, or failed by its value and passed with
    nothing done in between (retested). Left out as unknown: jobs that came back with nothing found or written down,
    and failed ones with step attempts that have no times.

    The limits tried are values seen. The jobs in order of value are cut into 100 parts, and so is the range of values,
    so that both the crowded middle and the thin ends are covered; at each limit the counts are exact.

    Landmarks of both areas: 1, the value tells faulty from sound in all cases; 0.5, it says nothing, and no limit
    helps. What failed lies beyond the limit by its making, so `area` alone flatters a test.

    Past the present limit the curve leans on the bench: nobody knows which of the mended jobs would have come back
    unmended. The limit that did best on past jobs will do worse on the next.

    Examples
    --------
    >>> r = depot.tests.limits("cell load", side="lower").table
    >>> r.filter(r["at_present"]).select("limit", "missed", "held").row(0)
    (3.69, 10, 0)

    As the limit stands, it let ten units through that came back, and held no sound one.
    """
    import polars as pl

    check_level(QUESTION, level)
    check_index_disposition(QUESTION, index_disposition)
    if side is not None:
        check_one_of(QUESTION, "side", side, SIDES)
    asked = _asked(snapshot, test, where, months)
    asked = telling_scope(snapshot, asked, "found", "logged", what="which jobs were faulty and which sound")
    limits = _present(snapshot, asked)
    values = {
        "window": days_asked(QUESTION, "window", window), "as_of": snapshot.day, "disposition": index_disposition,
        "cuts": CUTS,
    }
    rows: list[pl.DataFrame] = []
    summed: list[dict[str, object]] = []
    for which in SIDES if side is None else (side,):
        classes = kept_counts(snapshot, "limit_values", asked, {**values, "side": which})
        parts = classes.partition_by(KEYS, maintain_order=True) if classes.height else []
        for part in parts:
            present = _limit(limits, part, which)
            if side is None and present is None:
                continue
            curve, total = _curve(part, which, present, level)
            rows.append(curve)
            summed.append(total)
    table = pl.concat(rows) if rows else pl.DataFrame(schema=_schema())
    tests = pl.DataFrame(summed, schema=_tests_schema())
    order = ["test", "unit", "side"]
    settings = {
        "test": test, "side": side, "window": window, "as_of": snapshot.day, "index_disposition": index_disposition,
        **asked.settings(), "level": level, "method": "wilson",
    }
    return LimitChoices(
        table.sort([*order], maintain_order=True),
        settings,
        (*snapshot.notes, *asked.left_out, *_notes(tests, limits, asked)),
        tests=tests.sort(order),
    )


def _asked(snapshot: Snapshot, test: str | Sequence[str] | None, where: Where | None, months: Months | None) -> Scope:
    if where is not None and "test" in where:
        raise RequestError(f"{QUESTION}: give the test as test=, not in where=.")
    several = isinstance(test, Sequence) and bool(test) and all(isinstance(t, str) for t in test)
    if test is not None and not several:
        raise RequestError(f"{QUESTION}: test takes a test's name, or several: {test!r}.")
    whole = {**filters_of(QUESTION, where), **({} if test is None else {"test": test})}
    asked = scope(QUESTION, by=("test",), where=whole, months=months, allowed=(*JOB_NAMES, "test"))
    check_values(snapshot.store, QUESTION, asked.where)
    return asked


def _present(snapshot: Snapshot, asked: Scope) -> "pl.DataFrame":
    """The pairs of limits in the store, those in force last before the others."""
    where = {name: kept for name, kept in asked.where.items() if name == "test"}
    found = kept_counts(snapshot, "test_limits", Scope(("test",), where), {"as_of": snapshot.day})
    if "test" in asked.where:
        without = sorted(set(asked.where["test"]) - set(found["test"].to_list()))
        if without:
            every = kept_counts(snapshot, "test_limits", Scope(("test",)), {"as_of": snapshot.day})
            measured = every["test"].unique().sort()
            raise RequestError(
                f"{QUESTION}: {', '.join(without)} measures nothing. Measured: {', '.join(measured) or 'none'}."
            )
    return found.sort([*KEYS, "last_on", "runs"], descending=[False, False, True, True], maintain_order=True)


def _limit(limits: "pl.DataFrame", part: "pl.DataFrame", side: str) -> float | None:
    import polars as pl

    test, unit = part.row(0)[:2]
    own = limits.filter((pl.col("test") == test) & pl.col("unit").eq_missing(unit))
    found = own[f"{side}_limit"].to_list()
    return None if not found or found[0] is None else float(found[0])


def _curve(
    part: "pl.DataFrame", side: str, present: float | None, level: float
) -> "tuple[pl.DataFrame, dict[str, object]]":
    import polars as pl

    from rqa.stats import limits_tradeoff as tradeoff

    n: dict[str, NDArray[np.int64]] = {name: part[name].to_numpy() for name in OUTCOMES}
    value = part["highest" if side == "upper" else "lowest"].to_numpy()
    made = tradeoff(
        value=value, faulty=n["escaped"] + n["mended"], sound=n["sound"] + n["retested"],
        side="upper" if side == "upper" else "lower", level=level,
    )
    passed = tradeoff(
        value=value, faulty=n["escaped"], sound=n["sound"], side="upper" if side == "upper" else "lower", level=level
    )
    beyond = {name: _beyond(value, n[name], made.limit, side) for name in OUTCOMES}
    total = {name: int(n[name].sum()) for name in OUTCOMES}
    size = len(made.limit)
    columns: dict[str, object] = {
        "test": [part["test"][0]] * size, "unit": [part["unit"][0]] * size, "side": [side] * size,
        "limit": rounded(made.limit), "at_present": _marked(made.limit, present, side),
        **{name: getattr(made, name) for name in COUNTED},
        **{name: rounded(getattr(made, name)) for name in SHARED},
        "escapes_caught": beyond["escaped"],
        "escapes_missed": total["escaped"] - beyond["escaped"],
        "extra_held": beyond["sound"],
        "spared": total["retested"] - beyond["retested"],
        "let_through": total["mended"] - beyond["mended"],
    }
    summed: dict[str, object] = {
        "test": part["test"][0], "unit": part["unit"][0], "side": side, "present_limit": present,
        "jobs": sum(total[name] for name in OUTCOMES if name != "back"), **total,
        "area": _known(made.area), "area_passed": _known(passed.area),
    }
    return pl.DataFrame(columns, schema=_schema()), summed


def _known(area: float) -> float | None:
    return None if np.isnan(area) else round(area, 6)


def _beyond(
    value: NDArray[np.float64], jobs: NDArray[np.int64], limit: NDArray[np.float64], side: str
) -> NDArray[np.int64]:
    """How many of these jobs lie beyond each limit."""
    out = value[None, :] > limit[:, None] if side == "upper" else value[None, :] < limit[:, None]
    return np.asarray(out @ jobs, dtype=np.int64)


def _marked(limit: NDArray[np.float64], present: float | None, side: str) -> list[bool]:
    """The first of the limits, from the loosest on, that lets nothing pass which fails as things are."""
    if present is None:
        return [False] * len(limit)
    within = limit <= present if side == "upper" else limit >= present
    return [bool(inside) and not within[:i].any() for i, inside in enumerate(within)]


def _schema() -> "dict[str, pl.DataType]":
    import polars as pl

    counted = (*COUNTED, "escapes_caught", "escapes_missed", "extra_held", "spared", "let_through")
    made: dict[str, pl.DataType] = {
        "test": pl.String(), "unit": pl.String(), "side": pl.String(), "limit": pl.Float64(),
        "at_present": pl.Boolean(),
    }
    for name in (*COUNTED, *SHARED, *counted[4:]):
        made[name] = pl.Float64() if name in SHARED else pl.Int64()
    return made


def _tests_schema() -> "dict[str, pl.DataType]":
    import polars as pl

    made: dict[str, pl.DataType] = {name: pl.String() for name in ("test", "unit", "side")}
    return {
        **made, "present_limit": pl.Float64(), "jobs": pl.Int64(), **{name: pl.Int64() for name in OUTCOMES},
        "area": pl.Float64(), "area_passed": pl.Float64(),
    }


def _notes(tests: "pl.DataFrame", limits: "pl.DataFrame", asked: Scope) -> list[str]:
    import polars as pl

    notes = [
        "Jobs beyond the present limit were held and put right: whether they would have come back is not known. The "
        "limit that did best on past jobs will do worse on the next ones."
        if tests.height
        else "No curve: it takes matured jobs with a measured test that has a limit and is in the table “tests”."
    ]
    few = tests.filter(pl.col("escaped") < FEW)["test"].unique().sort().to_list()
    if few:
        notes.append(f"Fewer than {FEW} escapes of {', '.join(few)}: too little to choose a limit by.")
    unknown = int(tests["unknown"].sum())
    if unknown:
        notes.append("Jobs that came back with nothing found or written down are left out (column unknown of .tests).")
    several = limits.group_by(KEYS).len().filter(pl.col("len") > 1)["test"].unique().sort().to_list()
    if several:
        notes.append(f"{', '.join(several)}: held to several limits; the one in force last is marked as present.")
    if "technician" in asked.named:
        notes.append(PEOPLE)
    return notes
