"""Which jobs to open again before they leave: drawn at random by predicted risk, each with a known chance."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rqa.answers.core.case_lists import OWN_JOBS
from rqa.answers.core.follow_up_counts import days_asked
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import Snapshot, is_number, whole_number
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import counted

if TYPE_CHECKING:
    import polars as pl

QUESTION = "recheck_plan"
MARKS = ("model", "procedure", "billing", "site", "failed_check", "failed_test")
"""What the risk goes by. No person is among them."""
FEWEST, FEWEST_EVENTS = 200, 20
"""Matured jobs and come-backs below which no risk is told: all are drawn alike then (common practice, no source)."""
LEARNED = 0.75
"""The part of the matured jobs, the earliest, from which the risk is learned where it is tried on the others."""
TENTHS = 10
DAYS = 4_000_000
"""More days than a calendar has: each seed and day has draws of its own."""
PENALTIES, FOLDS = (1e4, 100.0, 30.0, 10.0, 3.0, 1.0), 4
"""How far slopes are held back, the most first, and in how many parts of the months that is tried."""
CAUTION = (
    "The draw is about jobs: it shows what leaves undetected. The risk goes by the work and not by who did it. What is "
    "found must not lead to a decision about people: local labour law and the works council come first."
)
SAFETY = "Who opens a unit again follows the maker's guide and local rules for batteries, ESD and sharp edges."

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, repr=False)
class RecheckPlan(Answer):
    """Jobs to open before they leave: closed_on, job_id, unit_id, site, model, procedure, risk, chance, found.

    `days` has a row a day: closed_on, jobs closed, drawn, least_chance of any. `tenths` has the later jobs on which the
    risk was tried, by tenths of risk: tenth, jobs, predicted, returned, seen. `brier` is the mean squared error there,
    and that of the base rate alone.
    """

    days: "pl.DataFrame | None" = None
    tenths: "pl.DataFrame | None" = None
    brier: tuple[float, float] | None = None

    question = "Jobs to open again"
    needs = ("closed_jobs",)
    of_comebacks = ("risk",)
    lists = OWN_JOBS
    nothing_found = "No repaired job was closed in these days."


def recheck_plan(
    snapshot: Snapshot, per_day: int = 5, *, days: int = 7, window: int = 30, uniform: float = 0.25, seed: int = 0
) -> RecheckPlan:
    """Draw the jobs of the last days that are to be opened and looked at before they leave, by their risk.

    Parameters
    ----------
    per_day
        How many of each day's closed repairs; all, where there are no more.
    days
        Days up to the as-of day whose jobs are drawn from, 1 to 366.
    uniform
        The part of the draws, above 0 up to 1, that goes to all jobs of the day alike, so that each has a chance.

    Returns
    -------
    RecheckPlan
        A row a job drawn: closed_on, job_id, unit_id, site, model, procedure, risk (predicted share of such jobs that
        come back within the window), chance (with which it was drawn) and found, which is empty. Write "fault" or
        "good" there, and map the file as study "recheck": `rechecked` then estimates how many of all jobs leave with a
        fault.

    Notes
    -----
    The risk is that of a logistic regression with slopes held back, learned from all matured jobs. It goes by model,
    procedure, billing, site, and whether a first check or first run of a test failed. To try it, it is learned from the
    earliest months, about three quarters of the jobs, and held against the later ones: `.tenths` sets predicted beside
    seen, `.brier` the mean squared error beside that of the base rate; the lower is the better. With fewer than 200
    matured jobs or 20 come-backs all jobs have the same chance.

    Each day is drawn alone, so a plan made day by day is that of the week. The same seed draws the same jobs.

    Examples
    --------
    >>> r = depot.actions.recheck_plan(per_day=2)
    >>> r.days.select("jobs", "drawn").row(0)
    (8, 2)

    Two of the eight repairs closed on the first day.
    """
    import polars as pl

    whole_number(QUESTION, "per_day", per_day, 1, of="jobs")
    whole_number(QUESTION, "days", days, 1, 366, of="days")
    whole_number(QUESTION, "seed", seed, 0, 10**9)
    days_asked(QUESTION, "window", window)
    if not is_number(uniform) or not 0 < uniform <= 1:
        raise RequestError(f"{QUESTION}: uniform is a part of the draws, above 0 up to 1, such as 0.25: {uniform!r}.")
    since = snapshot.day - timedelta(days=days)
    values = {"since": since, "window": window, "as_of": snapshot.day, "disposition": "repaired"}
    table = counts(snapshot.store, "recheck_jobs", values=values)
    known = table.filter("matured").sort("closed_on", maintain_order=True)
    now = table.filter(pl.col("job_id").is_not_null())
    jobs, back = _jobs_and_back(known)
    enough = jobs >= FEWEST and FEWEST_EVENTS <= back < jobs
    tenths, brier = _tried(known) if enough else (None, None)
    risk = _risks(known, now) if enough else np.full(now.height, 1.0)
    drawn, of_days = _drawn(now, risk, per_day, float(uniform), seed)
    shown = now.with_columns(risk=rounded(risk) if enough else pl.lit(None, dtype=pl.Float64)).with_row_index("place")
    made = drawn.join(shown, on="place", how="left", maintain_order="left").select(
        "closed_on", "job_id", "unit_id", "site", "model", "procedure", "risk", "chance",
        pl.lit(None, dtype=pl.String).alias("found"),
    )
    settings = {
        "per_day": per_day, "days": days, "window": window, "as_of": snapshot.day, "uniform": uniform, "seed": seed,
    }
    few = "" if enough else (
        f"{counted(jobs, 'matured job')} with {counted(back, 'come-back')} are too few to predict a risk (it takes "
        f"{FEWEST} with {FEWEST_EVENTS}): all jobs of a day had the same chance."
    )
    notes = (*snapshot.notes, *_notes(made, of_days, few, brier, uniform))
    return RecheckPlan(made, settings, notes, days=of_days, tenths=tenths, brier=brier)


def _jobs_and_back(kinds: "pl.DataFrame") -> tuple[int, int]:
    """How many jobs there are in kinds of jobs, and how many of them came back."""
    return int(kinds["jobs"].sum()), int(kinds.filter("returned")["jobs"].sum())


def _coded(marks: "pl.DataFrame", of: "pl.DataFrame") -> Floats:
    """Marks as columns of 0 and 1: one for each value that the learned jobs have; an unknown value has none."""
    columns = [
        (marks[name] == value).to_numpy().astype(np.float64)
        for name in MARKS for value in of[name].unique().sort().to_list()
    ]
    return np.column_stack(columns)


def _risks(learned: "pl.DataFrame", asked: "pl.DataFrame") -> Floats:
    """The chance of each job or kind asked about, learned from others.

    How far slopes are held back is what foretells best, by log-likelihood, the months of one part from the others.
    """
    months = learned["closed_on"].dt.truncate("1mo").rank("dense").to_numpy() % FOLDS
    scores = dict.fromkeys(PENALTIES, 0.0)
    for fold in np.unique(months):
        others, held = learned.filter(months != fold), learned.filter(months == fold)
        jobs, back = _jobs_and_back(others)
        if not 0 < back < jobs:
            continue
        n, came = held["jobs"].to_numpy(), held["returned"].to_numpy()
        for penalty in PENALTIES:
            risk = _fitted(others, held, penalty)
            scores[penalty] += float((n * np.log(np.where(came, risk, 1.0 - risk))).sum())
    return _fitted(learned, asked, max(PENALTIES, key=lambda penalty: scores[penalty]))


def _fitted(learned: "pl.DataFrame", asked: "pl.DataFrame", penalty: float) -> Floats:
    import polars as pl

    from rqa.stats import ridge_logit

    kinds = learned.group_by(MARKS).agg(
        pl.col("jobs").sum(), pl.col("jobs").filter(pl.col("returned")).sum().alias("back")
    ).sort(MARKS)
    slopes = ridge_logit(
        marks=_coded(kinds, learned), events=kinds["back"].to_numpy(), cases=kinds["jobs"].to_numpy(), penalty=penalty
    )
    found: Floats = 1.0 / (1.0 + np.exp(-(slopes[0] + _coded(asked, learned) @ slopes[1:])))
    return found


def _tried(known: "pl.DataFrame") -> "tuple[pl.DataFrame | None, tuple[float, float] | None]":
    """The risk learned from the earliest months, tried on the later ones: by tenths, and its Brier score."""
    import polars as pl

    month = pl.col("closed_on").dt.truncate("1mo")
    so_far = known.group_by(month.alias("month")).agg(pl.col("jobs").sum()).sort("month").with_columns(
        share=pl.col("jobs").cum_sum() / pl.col("jobs").sum()
    )
    last = so_far.filter(pl.col("share") <= LEARNED)["month"].max()
    learned, later = known.filter(month <= last), known.filter(month > last)
    if last is None or not 0 < _jobs_and_back(learned)[1] < _jobs_and_back(learned)[0] or later.is_empty():
        return None, None
    jobs, back = _jobs_and_back(learned)
    kinds = later.with_columns(risk=pl.Series(_risks(learned, later)), seen=pl.col("returned").cast(pl.Float64))
    total = int(kinds["jobs"].sum())
    kinds = kinds.sort("risk", maintain_order=True).with_columns(
        tenth=((pl.col("jobs").cum_sum() - pl.col("jobs") / 2) * TENTHS / total).floor().cast(pl.Int64) + 1
    )
    table = kinds.group_by("tenth").agg(
        pl.col("jobs").sum(), ((pl.col("risk") * pl.col("jobs")).sum() / pl.col("jobs").sum()).alias("predicted"),
        pl.col("jobs").filter(pl.col("returned")).sum().alias("returned"),
    ).sort("tenth").with_columns(
        pl.col("predicted").round(6), (pl.col("returned") / pl.col("jobs")).round(6).alias("seen")
    )
    n, risk, seen = (kinds[name].to_numpy().astype(np.float64) for name in ("jobs", "risk", "seen"))
    scores = [float((n * (told - seen) ** 2).sum() / total) for told in (risk, back / jobs)]
    return table, (round(scores[0], 6), round(scores[1], 6))


def _drawn(
    now: "pl.DataFrame", risk: Floats, per_day: int, uniform: float, seed: int
) -> "tuple[pl.DataFrame, pl.DataFrame]":
    """The places of the jobs drawn with their chances, day by day; and of each day how many there were."""
    import polars as pl

    from rqa.stats import draw_chances, systematic_draw

    rows: list[tuple[int, float]] = []
    days: list[tuple[date, int, int, float]] = []
    closed = now["closed_on"].to_numpy()
    for day in now["closed_on"].unique().sort().to_list():
        places = np.flatnonzero(closed == np.datetime64(day))
        chance = draw_chances(size=risk[places], draws=per_day, uniform=uniform)
        found = systematic_draw(chance=chance, seed=seed * DAYS + day.toordinal())
        rows += [(int(places[i]), round(float(chance[i]), 6)) for i in found]
        days.append((day, len(places), len(found), round(float(chance.min()), 6)))
    drawn = pl.DataFrame(rows, schema={"place": pl.UInt32, "chance": pl.Float64}, orient="row")
    of_days = pl.DataFrame(
        days, schema={"closed_on": pl.Date, "jobs": pl.Int64, "drawn": pl.Int64, "least_chance": pl.Float64},
        orient="row",
    )
    return drawn, of_days


def _notes(
    made: "pl.DataFrame", of_days: "pl.DataFrame", few: str, brier: tuple[float, float] | None, uniform: float
) -> list[Any]:
    if made.is_empty():
        return []
    notes = [
        f"Drawn at random: {counted(made.height, 'job')} of the {counted(int(of_days['jobs'].sum()), 'repair')} closed "
        f"in these days; {100 * uniform:g} % of the draws go to any job of the day, the rest by predicted risk. "
        "Open those that were drawn, not others in their place.",
    ]
    if few:
        notes.append(few)
    elif brier is not None:
        better = "better than" if brier[0] < brier[1] else "no better than"
        notes.append(
            f"Tried on later jobs that it had not seen, the risk is {better} the base rate alone: mean squared error "
            f"{brier[0]:.4f} beside {brier[1]:.4f}."
        )
    return [*notes, SAFETY, CAUTION]
