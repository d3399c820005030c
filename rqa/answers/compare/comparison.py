"""Who differs from what their own mix of work would bring: technicians, benches, tools, stations, sites.

It has no SQL of its own: it compares the counts of `comebacks`, `first_pass_yield` and `clean_jobs`.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.compare.allowances import allowing_for, enough_of, ratio_of, spread_of, usual_spread
from rqa.answers.compare.comparison_findings import stated
from rqa.answers.compare.comparison_words import notes_of
from rqa.answers.compare.expected_counts import (
    OUTCOMES,
    Expected,
    GroupCounts,
    columns_of,
    counts_of,
    expected_of,
    matrix,
    set_within_people,
)
from rqa.answers.compare.within_people import ALLOWED_FOR
from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CHECKS, JOBS, RETURNED, RUNS, CaseList, Count
from rqa.answers.core.filters import written
from rqa.answers.core.grounds import grounds
from rqa.answers.core.job_clusters import inflation
from rqa.answers.core.needs import OF_MEASURE, untold
from rqa.answers.core.own_work import in_words
from rqa.answers.core.result import Answer, rounded, rounded_p_values
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_level, check_one_of, whole_number
from rqa.contract import CLASSES
from rqa.errors import RequestError
from rqa.measures.groupings import names_only
from rqa.words import counted, did_you_mean

if TYPE_CHECKING:
    import polars as pl

QUESTION = "compare"
MIX = ("model", "procedure", "billing")

PLACES = ("bench", "tool", "station")
"""What is compared within people, where these work at several."""
PEOPLE = "technician"

LEAST = 30
"""Comparable work below which nothing is said of a group."""
FALSE_SHARE = 0.05
METHODS = ("auto", "stratified", "model")
ABOVE, BELOW, ALIKE, TOO_LITTLE = (
    "above expectation", "below expectation", "not distinguishable", "too little work to say",
)
ONLY = "nothing to compare with"
"""The verdict on a group that is the only one."""


class Comparison(Answer):
    """Observed against what the mix of work brings: the group, exposures, observed, expected, ratio, low, high, shrunk,
    p_value, p_adjusted, verdict; shrunk_low, shrunk_high, share, no_comparator, z, the funnel's limits low_95, high_95,
    low_998, high_998, and e_value, e_value_limit; of benches, tools and stations people."""

    question = "Comparison"
    in_table_only = (
        "p_value", "shrunk_low", "shrunk_high", "share", "no_comparator", "z", "low_95", "high_95", "low_998",
        "high_998",
    )

    def listed(self) -> CaseList:
        """Work and events as they are: exposures and observed leave out work with nothing to compare it with."""
        outcome = str(self.settings["outcome"])
        file, work, events, rows = LISTED[outcome]
        return CaseList(
            file, {"work": Count(work), "events": Count(events, classed=outcome == "comeback")}, rows=rows,
            returned="events" if outcome == "comeback" else RETURNED,
        )


LISTED: Mapping[str, tuple[str, tuple[str, ...], tuple[str, ...], tuple[str, str]]] = {
    "first_pass": ("listed_attempts", ("exposure",), ("failed",), CHECKS),
    "first_run": ("listed_runs", ("exposure",), ("failed",), RUNS),
    "comeback": ("listed_index_jobs", ("matured",), ("returned",), JOBS),
    "clean_job": ("listed_clean_jobs", (), ("unclean",), JOBS),
}
"""The list of each outcome, the marks of its work and of its events, and what a row is."""


@asked_once
def compare(
    snapshot: Snapshot,
    who: str = "technician",
    *,
    outcome: str = "first_pass",
    window: int = 30,
    mix: By | None = None,
    where: Where | None = None,
    months: Months | None = None,
    min_cases: int = LEAST,
    method: str = "auto",
    spread: bool = True,
    level: float = 0.95,
) -> Comparison:
    """Say who had more, or fewer, failures (or come-backs) than the same work brings in the whole depot.

    `who`: technician, bench, tool, station, site. `outcome`: "first_pass" (failed first checks), "first_run" (failed
    first runs of diagnostics), "comeback" (matured jobs back within `window` days), "clean_job" (jobs that were not
    clean). `mix`: what makes work unlike, any of model, procedure, billing, site, and of technician, bench, tool and
    station what the outcome is known of; where checks are counted the step or the test always belongs to it. None takes
    model, procedure and billing, and compares a bench, tool or station with the work of the same people elsewhere.
    Where they hardly work elsewhere, or are seldom named, the two cannot be told apart, and a finding says so.
    `min_cases`: comparable work below which nothing is said. `method`: "stratified" (shares of each kind of work as
    they are), "model" (a binomial model of them), or "auto": the model where more than a tenth of the work is of kinds
    in which the others have fewer than 10 cases. `spread`: whether a spread between the groups that is wider than
    chance is allowed for. That the checks of one job go together always is: p-values and limits are those of jobs,
    not of single checks (`rqa.answers.core.job_clusters`).

    Columns: the group; exposures (work that can be compared), observed (events in it), expected (what the mix brings),
    ratio = observed / expected with its exact Poisson interval low, high; shrunk, the ratio drawn towards 1 as far as
    little work deserves; p_value (1e-30 stands for less) and p_adjusted (for how many were compared); verdict (above or
    below where p_adjusted is at most 5 % and the limits leave 1 out; of the only group there is: nothing to compare
    with). Beside these: shrunk_low, shrunk_high; share (observed /
    exposures, the mix not allowed for); no_comparator (work with nothing to compare it with); z; low_95, high_95,
    low_998, high_998 (funnel limits of the ratio); e_value and e_value_limit. The E-value is of something that was not
    measured: to explain the ratio away it must be at least so many times as common in the group's work as in all
    (below 1: in all work as in the group's). It must also be as many times as likely to bring the event. The other is
    the same of the limit nearer to 1 (1 where the limits hold 1). Rows are in the order of names: there is no rank. Of
    benches, tools and stations people says whether those who work there are allowed for, not told apart from the place,
    or not named.

    >>> r = depot.compare("bench")
    >>> r.table["verdict"].unique().to_list()
    ['not distinguishable']

    No bench can be told from the others on the same mix of work.
    """
    import polars as pl

    asked = _checked(who, outcome, MIX if mix is None else mix, min_cases, method, level)
    table = counts_of(snapshot, who, outcome, asked, where, months, window)
    counted = matrix(table.table, who, asked, *columns_of(outcome), table.notes)
    found, people = expected_of(counted, method), np.full(counted.known, "", dtype=object)
    if mix is None and who in PLACES and counted.known > 1:
        split = counts_of(snapshot, who, outcome, (PEOPLE, *asked), where, months, window)
        rows = split.table.select(who, PEOPLE, *asked, *columns_of(outcome)).rows()
        found, people = set_within_people(found, counted, rows)
    enough = enough_of(counted, found, min_cases)
    dispersion = spread_of(found, enough) if spread else None
    by_job = _by_job(snapshot, who, outcome, asked, table, counted)
    phi = usual_spread(dispersion, by_job)
    p_value = allowing_for(found, phi, by_job)
    made, verdicts = _table(who, counted, found, enough, p_value, phi, by_job, level)
    if people.any():
        made = made.with_columns(people=pl.Series(people.tolist(), dtype=pl.String))
    settings = {
        "by": (who,), "who": who, "outcome": outcome, "window": window if outcome == "comeback" else None,
        "as_of": snapshot.day, "where": table.settings.get("where"), "months": table.settings.get("months"),
        "mix": ((PEOPLE,) if ALLOWED_FOR in people else ()) + asked, "expected": found.method,
        "min_cases": min_cases, "spread": round(phi, 3),
        "by_job": round(float(by_job.max(initial=1.0)), 3), "level": level,
    }
    notes = table.notes if untold(table) else notes_of(
        who=who, outcome=OUTCOMES[outcome], mix=asked, people=people, names=counted.names[: counted.known], found=found,
        min_cases=min_cases, enough=enough, dispersion=dispersion, verdicts=verdicts, unknown=_unknown(counted),
        by_job=float(by_job.max(initial=1.0)), given=counted.notes, place=place_of(settings),
        there=grounds(snapshot, window=window), rests_on=OF_MEASURE[outcome],
        e_value=made.select("e_value", "e_value_limit").rows(),
    )
    findings = stated(made, who, outcome, OUTCOMES[outcome], which_of(settings), place_of(settings))
    return Comparison(made, settings, notes, findings)


def place_of(settings: Mapping[str, Any]) -> str:
    """The work that the expectation comes from: that of the whole depot, or what the filters keep of it."""
    kept = {name: values for name, values in (settings["where"] or {}).items() if name != "class"}
    return f"the work with {written(kept)}" if kept else "the whole depot"


def which_of(settings: Mapping[str, object]) -> str:
    """Which events count, to follow their name: within how many days, and of which classes."""
    if settings["window"] is None:
        return ""
    where = settings["where"]
    classes = where.get("class") if isinstance(where, Mapping) else None
    return f" within {counted(settings['window'], 'day')} {in_words(classes or CLASSES)[0]}"


def _checked(who: str, outcome: str, mix: By, min_cases: int, method: str, level: float) -> tuple[str, ...]:
    """The names that make a kind of work."""
    check_level(QUESTION, level)
    check_one_of(QUESTION, "outcome", outcome, OUTCOMES)
    if who not in OUTCOMES[outcome].who:
        there = OUTCOMES[outcome].who
        meant = did_you_mean(str(who), there)
        raise RequestError(f"{QUESTION}: {outcome} is known of {', '.join(there)}, not of {who!r}.{meant}")
    check_one_of(QUESTION, "method", method, METHODS)
    whole_number(QUESTION, "min_cases", min_cases, 1, of="cases")
    names = (mix,) if isinstance(mix, str) else tuple(mix)
    names_only(QUESTION, "part of the mix", names, tuple(dict.fromkeys((*MIX, "site", *OUTCOMES[outcome].who))))
    if who in names:
        raise RequestError(f"{QUESTION}: {who} is what is compared, so it cannot be part of the mix.")
    return (*dict.fromkeys(names), *OUTCOMES[outcome].kind)


def _unknown(counted: GroupCounts) -> int:
    return int(counted.trials[counted.known :].sum())


def _by_job(
    snapshot: Snapshot, who: str, outcome: str, kind: tuple[str, ...], table: Answer, counted: GroupCounts
) -> NDArray[np.float64]:
    """How much more each group's failures vary than those of single checks, as the checks of a job go together."""
    asked = Scope((), dict(table.settings["where"] or {}), table.settings["months"])  # type: ignore[call-overload, arg-type]
    mix = kind[: len(kind) - len(OUTCOMES[outcome].kind)]
    made = inflation(
        snapshot, who=who, outcome=outcome, mix=mix, asked=asked, names=counted.names, kinds=counted.kinds,
        events=counted.events, trials=counted.trials,
    )
    return made[: counted.known]


def _table(
    who: str,
    counted: GroupCounts,
    found: Expected,
    enough: NDArray[np.bool_],
    p_value: NDArray[np.float64],
    phi: float,
    by_job: NDArray[np.float64],
    level: float,
) -> "tuple[pl.DataFrame, NDArray[Any]]":
    import polars as pl

    from rqa.stats import benjamini_hochberg, e_value

    adjusted = benjamini_hochberg(p_values=np.where(enough, p_value, np.nan), allowed=FALSE_SHARE)
    judged = ~np.isnan(adjusted.p_values)
    none = ONLY if counted.known == 1 else TOO_LITTLE
    ratio, low, high = ratio_of(found, by_job, level)
    said = np.where(low > 1.0, ABOVE, np.where(high < 1.0, BELOW, ALIKE))
    verdicts = np.where(~judged, none, np.where(adjusted.found, said, ALIKE))
    drawn = _shrunk(found, level)
    unseen = e_value(estimate=ratio, low=low, high=high)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = found.observed / np.where(found.exposures == 0, np.nan, found.exposures)
    numbers = {
        "expected": found.expected, "ratio": ratio, "low": low, "high": high,
        "shrunk": drawn["shrunk"],
    }
    by_luck = {"p_value": p_value, "p_adjusted": adjusted.p_adjusted}
    beside = {"shrunk_low": drawn["low"], "shrunk_high": drawn["high"], "share": share}
    made = pl.DataFrame(
        {
            who: pl.Series(list(counted.names[: counted.known]), dtype=pl.String),
            "exposures": found.exposures, "observed": found.observed,
            **{name: rounded(values) for name, values in numbers.items()},
            **{name: rounded_p_values(values) for name, values in by_luck.items()},
            "verdict": pl.Series(verdicts.tolist(), dtype=pl.String),
            **{name: rounded(values) for name, values in beside.items()},
            "no_comparator": found.no_comparator, "z": rounded(found.z),
            **{name: rounded(values) for name, values in _funnel(found, phi).items()},
            "e_value": _finite(unseen.of_estimate), "e_value_limit": _finite(unseen.of_limit),
        }
    )
    return made, verdicts


def _finite(values: NDArray[np.float64]) -> "pl.Series":
    """Numbers to six digits; null where there is none, or no strength is enough as nothing happened."""
    return rounded(np.where(np.isfinite(values), values, np.nan))


def _average_work(found: Expected) -> tuple[float, NDArray[np.int64]]:
    """The depot's share of events, and each group's work in cases of average difficulty that bring as much."""
    work = int(found.exposures.sum())
    share = float(found.observed.sum()) / work if work else 0.0
    if share == 0.0:
        return 0.0, np.zeros(found.exposures.size, dtype=np.int64)
    return share, np.maximum(np.rint(found.expected / share).astype(np.int64), found.observed)


def _shrunk(found: Expected, level: float) -> dict[str, NDArray[np.float64]]:
    from rqa.stats import beta_binomial_shrinkage

    share, size = _average_work(found)
    there = (size > 0) & (found.expected > 0)
    made = {name: np.full(size.size, np.nan) for name in ("shrunk", "low", "high")}
    if there.any():
        drawn = beta_binomial_shrinkage(successes=found.observed[there], trials=size[there], level=level)
        for name, values in (("shrunk", drawn.estimate), ("low", drawn.low), ("high", drawn.high)):
            made[name][there] = values / share
    return made


def _funnel(found: Expected, phi: float) -> dict[str, NDArray[np.float64]]:
    """Limits of the ratio by chance alone (and the usual spread), for work that brings as many events as expected."""
    from rqa.stats import funnel_limits

    share, size = _average_work(found)
    made = {}
    for name, level in (("95", 0.95), ("998", 0.998)):
        if share:
            limits = funnel_limits(trials=size, centre=share, level=level, dispersion=phi)
            made[f"low_{name}"], made[f"high_{name}"] = limits.low / share, limits.high / share
        else:
            made[f"low_{name}"] = made[f"high_{name}"] = np.full(size.size, np.nan)
    return made
