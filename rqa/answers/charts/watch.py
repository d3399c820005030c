"""What changed of late: all sites, models, procedures, steps, tests, stations, benches and lots watched at once."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from rqa.answers.charts.watch_series import FEWEST, FEWEST_MONTHS, YEAR, Dimension, Watched, watched
from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.ground_list import SEEN
from rqa.answers.core.grounds import grounds
from rqa.answers.core.job_lists import one_row
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Snapshot, is_number
from rqa.errors import RequestError
from rqa.measures.run import Kept, counts
from rqa.words import counted, listed

if TYPE_CHECKING:
    import polars as pl

QUESTION = "watch"
RECENT = 90
"""Days without a job after which a series is no longer watched (common practice, no source)."""
KINDS = ("kind_model", "kind_procedure")
MIXES = (*KINDS, "kind_billing")
BACK = (("come-back", "come-backs"), ("job", "jobs"))


def _of_jobs(name: str, *, pooled: bool = False) -> Dimension:
    return Dimension(name, "watched_comebacks", "listed_index_jobs", *BACK, SEEN, (name,), (name,), (), MIXES, pooled)


DIMENSIONS = (
    _of_jobs("site", pooled=True), _of_jobs("model"), _of_jobs("procedure"),
    Dimension(
        "step", "watched_steps", "listed_watched_steps", ("failed first check", "failed first checks"),
        ("check", "checks"), ("checks",), ("step",), ("step",), ("step",), KINDS,
    ),
    Dimension(
        "test", "watched_tests", "listed_watched_tests", ("failed first run", "failed first runs"),
        ("first run", "first runs"), ("diagnostics",), ("test",), ("test",), ("test",), KINDS,
    ),
    Dimension(
        "station", "watched_stations", "listed_watched_stations",
        ("job with a failed first run", "jobs with a failed first run"), ("job tested", "jobs tested"), ("station",),
        ("station",), ("station",), ("kind_checks",), KINDS, True,
    ),
    Dimension(
        "bench", "watched_benches", "listed_watched_benches",
        ("job with a failed first check", "jobs with a failed first check"), ("job checked", "jobs checked"),
        ("checks", "bench"), ("bench",), ("bench",), ("kind_checks",), KINDS, True,
    ),
    Dimension("lot", "watched_comebacks", "listed_index_jobs", *BACK, (*SEEN, "parts", "lot"), ("part_no", "lot"),
              ("part_no",), (), MIXES, True),
)
"""What is watched, in the order in which it is told. None of it is a person."""


@dataclass(frozen=True, eq=False, repr=False)
class Watch(Answer):
    """What signals: series, what, part_no, name, since, raised_on, jobs, events, expected, ratio, counted.

    `watched` has a row a series watched, `days` the course of those that signal or did.
    """

    watched: "pl.DataFrame | None" = None
    days: "pl.DataFrame | None" = None

    question = "What changed"
    needs = ("closed_jobs",)
    nothing_found = "No series of work signals."

    def listed(self) -> CaseList | str:
        """How the cases of one series are listed; a series names its own."""
        return CaseList("listed_index_jobs", {"jobs": Count(("matured",))}, keys={"series": "series"})

    def listed_for(self, row: Mapping[str, object]) -> tuple[CaseList, Mapping[str, object]]:
        """The cases of one series from the day on which its sum began to grow."""
        named = one_row(self, row, "series")
        rest = {name: value for name, value in row.items() if name != "series"}
        of = next(d for d in DIMENSIONS if d.name == named["what"])
        key, since = {"series": "series"}, named["since"]
        if of.listed == "listed_index_jobs":
            own = (named["name"],) if named["part_no"] is None else (named["part_no"], named["name"])
            where = {column: (name,) for column, name in zip(of.columns, own, strict=True)}
            after: Kept = (("closed_day", ">=", since),)
            told = {"jobs": Count(("matured",), kept=after), "events": Count(("returned",), kept=after)}
            return CaseList(of.listed, told, keys=key, where=where, returned="events"), rest
        kept: Kept = (("on_day", ">=", since), ("in_group", "=", named["name"]))
        told = {"jobs": Count(kept=kept), "events": Count(("failed",), kept=kept)}
        return CaseList(of.listed, told, rows=("case", "cases"), keys=key, where={}), rest


@asked_once
def watch(snapshot: Snapshot, *, window: int = 30, false_alarms: float = 1.0, odds: float = 2.0) -> Watch:
    """Say which work changed for the worse and since when, of all that is watched at once.

    Parameters
    ----------
    window
        Days within which a return counts as a come-back. Of come-backs only matured jobs are watched.
    false_alarms
        False alarms a year, above 0, that all series together may raise on steady work; it sets their limits.
    odds
        By how much the odds of an event are to have become worse: 2 watches for a doubling. Above 1.

    Returns
    -------
    Watch
        A row a series that signals, the newest first. Columns: series ("model Marl-10"), what (site, model, procedure,
        lot: come-backs; step: failed first checks; test: failed first runs; station, bench: jobs with a failed first
        run or check), part_no (of a lot), name, since (estimated onset: the day on which the sum began to grow),
        raised_on (the day on which it reached its limit), jobs and events since the onset, expected events, ratio of
        both, counted (in words). `.watched` has a row a series watched: what it brought in the last year, value, limit,
        raised (signals begun in that year), signals. `.days` holds value and limit by day
        of those that signal, or did in that year.

    Notes
    -----
    Each case adds its log-likelihood ratio of the changed odds to the expected ones (risk-adjusted CUSUM), the cases of
    one day together; the sum never falls under 0, is held at its limit, and a signal stands until the sum is under half
    of that, or the series had no case for 90 days. `.jobs(series=…)` lists the cases since the onset. Onsets err to the
    early side: of work with ten events a month that become thirty, half lie within ten days, and 5 % more than 38 days
    too early.

    What to expect of a case is what its kind of work (model, procedure, billing; step or test; how much was checked)
    brought in up to 24 months before, but for the month before its own, small kinds drawn towards all; times what the
    series itself brought of that, so a site that is always worse is judged by its own past. A lot is judged by the past
    of its part. At least 6 months and 100 cases are needed, and one event expected a year.

    The false alarms are shared out evenly among the kinds of series, and within each among its series. Approximations:
    run lengths of jobs that are alike (`rqa.spc.family_limits`); the true level may be off by what the baseline leaves
    open, and by how much months differ in this depot, which is taken to last. Persons are not watched.

    References
    ----------
    1. S. H. Steiner, R. J. Cook, V. T. Farewell and T. Treasure, Biostatistics 1, 2000, 441-452.

    Examples
    --------
    >>> r = depot.charts.watch()
    >>> r.table.select("series", "since", "events", "expected").rows()
    []

    Nothing signals in the sample's last days; `r.watched` says what is watched, and how near its limit it is.
    """
    days_asked(QUESTION, "window", window)
    if not is_number(false_alarms) or false_alarms <= 0:
        raise RequestError(f"{QUESTION}: false_alarms is a number a year, above 0: {false_alarms!r}.")
    if not is_number(odds) or odds <= 1:
        raise RequestError(f"{QUESTION}: odds is a factor above 1, such as 2: {odds!r}.")
    made, notes = _series(snapshot, window, odds)
    alarms = false_alarms / max(len(made), 1)
    rows: list[Any] = []
    every: list[Any] = []
    days: list[Any] = []
    for of, w in made:
        found = _of_dimension(of, w, alarms, odds)
        for kept, more in zip((rows, every, days), found, strict=True):
            kept.extend(more)
    settings = {
        "window": window, "as_of": snapshot.day, "false_alarms": false_alarms, "odds": odds,
        "chart": "risk-adjusted CUSUM, cases of a day together",
    }
    table, all_series, course = _frames(rows, every, days)
    said = (*snapshot.notes, *_notes(made, notes, false_alarms, odds))
    return Watch(table, settings, said, watched=all_series, days=course)


def _series(snapshot: Snapshot, window: int, odds: float) -> tuple[list[tuple[Dimension, Watched]], list[str]]:
    """The series of each dimension that can be watched, and what is said of those that cannot."""
    there = grounds(snapshot, window=window)
    made: list[tuple[Dimension, Watched]] = []
    notes: list[str] = []
    early: list[str] = []
    for of in DIMENSIONS:
        if any(name in snapshot.store.people for name in of.columns):
            continue
        lack = there.lack(*of.needs, about=f"what changed by {of.name}")
        if lack is not None:
            notes.append(lack)
            continue
        back = of.events == BACK[0]
        values = {"as_of": snapshot.day, **({"window": window, "disposition": "repaired"} if back else {})}
        by = of.columns if of.measure == "watched_comebacks" else ()
        table = counts(snapshot.store, of.measure, by=by, values=values)
        last = snapshot.day - timedelta(days=window if back else 0)
        # Of come-backs the sites say how much months differ: the other series are of the same jobs, in smaller parts.
        differ = made[0][1].differ if back and made and made[0][0].events == of.events else None
        w = watched(table, of, last, odds, differ)
        if w is None or not w.names:
            early.append(of.name)
        else:
            made.append((of, w))
    if early:
        notes.append(
            f"Not watched by {listed(early)}: that takes {FEWEST_MONTHS} months with {FEWEST} cases and an event "
            "among them, and a series of which one event a year is expected."
        )
    return made, list(dict.fromkeys(notes))


def _of_dimension(
    of: Dimension, w: Watched, alarms: float, odds: float
) -> tuple[list[Any], list[Any], list[Any]]:
    """The rows of one dimension: its series that signal, all that are watched, and the days of the first."""
    from rqa.spc import family_limits, held_sums

    limits = family_limits(
        events=w.year_events, chance=np.clip(w.chance, 1e-4, 0.9), variance=w.variance,
        alarms=np.full(len(w.names), alarms / len(w.names)), odds_ratio=odds,
    )
    sums = held_sums(w.weights, limit=limits)
    # An empty course has no last day.
    last, year = w.cases.shape[1] - 1, max(w.cases.shape[1] - YEAR, 0)
    rows, every, days = [], [], []
    for i, names in enumerate(w.names):
        series = f"{of.name} {':'.join(names)}"
        fresh = bool(w.cases[i, max(last - RECENT + 1, 0) :].any())
        signals = bool(sums.signals[i, last]) and fresh
        begun = sums.begun[i]
        raised = len({int(b) for b in begun[year:] if b >= year})
        every.append((series, of.name, *_sums(w, i, year), float(sums.value[i, last]), limits[i], raised, signals))
        if signals or raised:
            days += [
                (series, w.first + timedelta(days=d), float(sums.value[i, d]), limits[i], bool(sums.signals[i, d]))
                for d in range(last + 1)
            ]
        if not signals:
            continue
        since = int(sums.since[i, last])
        jobs, events, expected = _sums(w, i, since)
        said = f"{counted(events, *of.events)} of {counted(jobs, *of.cases)}, {expected:.1f} expected"
        part = names[0] if len(names) > 1 else None
        onset, on = w.first + timedelta(days=since), w.first + timedelta(days=int(begun[last]))
        rows.append((
            series, of.name, part, names[-1], onset, on, jobs, events, expected, events / expected, said,
        ))
    return rows, every, days


def _sums(w: Watched, series: int, begin: int) -> tuple[int, int, float]:
    """Cases, events and expected events of a series from a day on."""
    return (
        round(float(w.cases[series, begin:].sum())), round(float(w.events[series, begin:].sum())),
        float(w.expected[series, begin:].sum()),
    )


def _frames(rows: list[Any], every: list[Any], days: list[Any]) -> "tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]":
    import polars as pl

    text, whole, number = pl.String, pl.Int64, pl.Float64
    of_rows = {
        "series": text, "what": text, "part_no": text, "name": text, "since": pl.Date, "raised_on": pl.Date,
        "jobs": whole, "events": whole, "expected": number, "ratio": number, "counted": text,
    }
    of_every = {
        "series": text, "what": text, "jobs": whole, "events": whole, "expected": number, "value": number,
        "limit": number, "raised": whole, "signals": pl.Boolean,
    }
    of_days = {"series": text, "day": pl.Date, "value": number, "limit": number, "signals": pl.Boolean}
    made = [
        pl.DataFrame(part, schema=schema, orient="row")
        for part, schema in ((rows, of_rows), (every, of_every), (days, of_days))
    ]
    first, second, third = (
        t.with_columns(rounded(t[name]).alias(name) for name, kind in t.schema.items() if kind == pl.Float64)
        for t in made
    )
    order = first.with_columns(pl.col("raised_on").to_physical().neg().alias("_new")).sort("_new", "series")
    return order.drop("_new"), second, third


def _notes(
    made: list[tuple[Dimension, Watched]], lacking: list[str], false_alarms: float, odds: float
) -> list[str]:
    if not made:
        return lacking
    number = sum(len(w.names) for _, w in made)
    each = listed([counted(len(w.names), of.name, PLURAL[of.name]) for of, w in made])
    notes = [
        f"Watched: {counted(number, 'series', 'series')} ({each}), each for {counted(f'{odds:g}', 'time')} the odds "
        "that its work and its own past make one expect. All together may raise "
        f"{counted(f'{false_alarms:g}', 'false alarm')} a year on steady work; how often that was kept in trials "
        "stands in DEVELOPERS.md of the sources.",
        "The onset is an estimate: the day on which the sum began to grow. Persons are not watched.",
    ]
    few = sum(w.left_out for _, w in made)
    if few:
        notes.append(
            f"{counted(few, 'series is', 'series are')} not watched, as less than one event a year is expected of each."
        )
    return [*notes, *lacking]


PLURAL = {"bench": "benches"} | {
    name: f"{name}s" for name in ("site", "model", "procedure", "step", "test", "station", "lot")
}
