"""Which steps send units back: come-backs attributed to the steps that had touched what was found at fault."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from rqa.answers.core.asked_once import asked_once
from rqa.answers.core.case_lists import CaseList, Count
from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.finding import Finding
from rqa.answers.core.follow_up_counts import check_index_disposition, days_asked
from rqa.answers.core.ground_list import LAID
from rqa.answers.core.result import Answer, rounded
from rqa.answers.core.scope import (
    PERIODS,
    By,
    Months,
    Scope,
    Snapshot,
    Where,
    check_level,
    check_one_of,
    check_values,
    is_number,
    scope,
)
from rqa.answers.core.told_sites import told_scope
from rqa.answers.steps.cause_contrasts import excesses
from rqa.answers.steps.cause_fit import NONE, CauseFit, Name, fitted, named
from rqa.answers.steps.cause_patterns import Exposed, Records, exposed, records
from rqa.answers.steps.declared_steps import DeclaredStep, declared_steps
from rqa.answers.steps.step_cautions import cautions, next_check
from rqa.contract import OWN_WORK
from rqa.errors import RequestError
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import count, counted, fixed, listed, plural, spoken

if TYPE_CHECKING:
    import polars as pl

QUESTION = "attribution"
GROUPINGS = (*PERIODS, *JOB_NAMES)
Per = Literal["step", "hazard", "bench", "tool"]
COLUMNS = {"step": ("step",), "hazard": ("hazard",), "bench": ("step", "bench"), "tool": ("step", "tool")}
MIN_OVERLAP = 0.9
PER = 10_000
ONE_OF_THEM = 0.05
"""Come-backs that would have come anyhow from which on it is said."""


class Attribution(Answer):
    """Come-backs attributed to steps: the cause, subsystem, exposures, candidate_in, attributed, per_10000, low, high,
    tested, escaping, told_apart."""

    question = "Come-backs attributed to steps"
    in_table_only = ("candidate_in", "tested")
    needs = LAID

    def listed(self) -> CaseList | str:
        """Jobs in which one of the steps was done, and those of them that came back with what it touches."""
        if self.settings["per"] == "hazard":
            return 'A hazard is of many steps. Ask with per="step" for the jobs.'
        return DONE_STEPS


DONE_STEPS = CaseList(
    "listed_done_steps", {"done": Count(), "came_back": Count(("candidate",))},
    values={"classes": list(OWN_WORK)}, joined={"step": " + "}, returned="came_back",
)
"""The list behind what is attributed to steps: what the fit makes of it is shared out among them."""


@dataclass(frozen=True)
class Attributed:
    """The fit of one group and subsystem, and the work it was fitted to."""

    group: int
    subsystem: str
    fit: CauseFit
    work: Exposed


@asked_once
def attribution(
    snapshot: Snapshot,
    by: By = (),
    *,
    where: Where | None = None,
    months: Months | None = None,
    window: int = 30,
    per: Per = "step",
    min_overlap: float = MIN_OVERLAP,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> Attribution:
    """Lay each come-back to the steps of its job that had touched what was then found at fault.

    Come-backs of class repeat and workmanship within `window` days, of matured jobs. The candidates of one are the
    steps done in the job (in any attempt, not skipped) that its procedure declares to touch the subsystem found. Each
    step has a chance of its own to send a unit back with each subsystem it touches, the same in every procedure that
    has it; the most likely chances are found for each group by itself. A step so is told from its companions by
    procedures in which it has others. What would have come anyhow is attributed to none (`settings["by_itself"]` says
    how many): how often a subsystem fails by itself is told by the jobs in which no step touched it. `by` and `where`
    take site, model, procedure, technician, billing, and by also month and week (of closing).

    Steps are one group, named with "+" and never split, where at least the share `min_overlap` of the jobs in which
    either touches the subsystem did both; how often they are done elsewhere does not tell them apart. `per` "hazard"
    lays come-backs to the hazards of the steps instead, "bench" and "tool" to each step by where or with what it was
    done.

    Columns: the cause (step, hazard, or step with bench or tool), subsystem, exposures (jobs that did it; of hazards
    the steps that had it), candidate_in (come-backs that may be its), attributed (those most likely its), per_10000
    exposures, low, high (profile likelihood), tested (attributed come-backs whose job was tested for the fault),
    escaping (share of them whose job had passed all its tests in the end), told_apart (false for a group, and where
    others can take its place: attributed and per_10000 are null there, and low and high say what is possible).

    With `by`, every cause is stated against the same work of the other groups (`rqa.answers.steps.cause_contrasts`).

    >>> depot.steps.attribution().table.select("step", "subsystem", "attributed", "told_apart").row(0)
    ('release antenna cable + reseat antenna cable', 'antenna', 13.514345, False)

    Some 14 come-backs of the antenna are attributed to its cable; to which of the two steps cannot be told.
    """
    check_one_of(QUESTION, "per", per, get_args(Per))
    asked, values = checked(QUESTION, snapshot, by, where, months, window, index_disposition, level, min_overlap)
    covariate = per if per in ("bench", "tool") else ""
    seen = records(snapshot, asked, values=values, covariate=covariate, within=comparable(asked))
    made = list(attributed(seen, per=per, min_overlap=min_overlap, level=level))
    stated = tuple(
        contrasted(seen, made, asked, declared_steps(snapshot.store), window, level)
    ) if per == "step" else ()
    settings = {
        "window": window, "as_of": snapshot.day, "per": per, "min_overlap": min_overlap,
        "index_disposition": index_disposition, **asked.settings(),
        "by_itself": round(sum(one.fit.by_itself for one in made), 3),
        "level": level, "method": "masked causes, profile likelihood",
    }
    return Attribution(_table(seen, made, asked, per), settings, notes_on(snapshot, seen, made, asked, values), stated)


def checked(
    question: str, snapshot: Snapshot, by: By, where: Where | None, months: Months | None, window: int,
    index_disposition: str, level: float, min_overlap: float,
) -> tuple[Scope, dict[str, object]]:
    """The scope of a question about matured jobs and their steps, and the values its measures take."""
    check_level(question, level)
    window = days_asked(question, "window", window)
    if not is_number(min_overlap) or not 0 < min_overlap <= 1:
        raise RequestError(f"{question}: min_overlap is a share above 0, up to 1, such as 0.9: {min_overlap!r}.")
    check_index_disposition(question, index_disposition)
    asked = scope(question, by=by, where=where, months=months, allowed=GROUPINGS)
    check_values(snapshot.store, question, asked.where)
    return told_scope(snapshot, asked, OWN_WORK), {
        "window": window, "disposition": index_disposition, "classes": list(OWN_WORK)
    }


def comparable(asked: Scope) -> tuple[str, ...]:
    """What work of two groups must have in common to be compared."""
    return ("procedure",) if "model" in asked.by else ("procedure", "model")


def attributed(seen: Records, *, per: str, min_overlap: float, level: float) -> Iterator[Attributed]:
    """The fit of every group and subsystem that some step of it touched."""
    for group in range(max(seen.groups.height, 1)):
        rows = seen.group == group
        if not rows.any():
            continue
        for place, subsystem in enumerate(seen.subsystems):
            work = exposed(seen, place, rows, per=per)
            if work.names:
                alone = seen.untouched[place]
                fit = fitted(work, min_overlap=min_overlap, level=level, untouched=alone)
                yield Attributed(group, subsystem, fit, work)


def contrasted(
    seen: Records, made: Sequence[Attributed], asked: Scope, declared: Sequence[DeclaredStep], window: int, level: float
) -> Iterator[Finding]:
    """Every cause of every group against the same work elsewhere; nothing where groups are kinds of work themselves."""
    if seen.groups.height < 2 or asked.by == ("procedure",):
        return
    hazards = {s.step: s.hazards for s in declared}
    phases = {s.step: s.phase for s in declared}
    names = " and ".join(asked.by)
    for one in made:
        place, rows = seen.subsystems.index(one.subsystem), seen.group == one.group
        rest = exposed(seen, place, ~rows)
        group = {name: str(value) for name, value in zip(asked.by, seen.groups.row(one.group), strict=True)}
        for e in excesses(one.work, rest, one.fit.groups, min_cases=SMALLEST, level=level):
            steps = [name[0] for name in e.cause]
            danger = dict.fromkeys(h for s in steps for h in hazards.get(s, ()))
            more = fixed(PER * e.rate, 0)
            yield Finding(
                kind=f"come-backs attributed to a step, by {names}",
                scope={**group, "step": named(e.cause), "subsystem": one.subsystem},
                what=(
                    f"attributed to it {plural(more, 'is', 'are')} {counted(more, 'come-back')} of the "
                    f"{spoken(one.subsystem)} within {counted(window, 'day')} per {PER:,} jobs more than comparable "
                    f"work has elsewhere ({count(e.comebacks)} in {counted(e.jobs, 'job')} that did it; elsewhere "
                    f"{count(e.other_comebacks)} in {count(e.other_jobs)})"
                ),
                measure=f"come-backs per {PER:,} exposures",
                size=PER * e.rate,
                low=PER * e.low,
                high=PER * e.high,
                worse=e.rate > 0,
                jobs=e.jobs,
                p_value=e.p_value,
                caution=_caution(e.cause, asked, danger),
                check=next_check(phases.get(steps[-1], ""), hazards.get(steps[-1], ())),
                avoided=e.caused,
                events=e.comebacks,
            )


def _caution(cause: tuple[Name, ...], asked: Scope, hazards: dict[str, None]) -> str:
    said = ["steps joined by + share one number, as the logs cannot separate them"] if len(cause) > 1 else []
    said.append("models may differ by design" if "model" in asked.by else "compared within procedure and model alone")
    if "technician" in asked.by:
        said.append("look at bench, tool, light and order of steps, not at a person")
    return "; ".join([*said, cautions(hazards)])


def _table(seen: Records, made: Sequence[Attributed], asked: Scope, per: str) -> "pl.DataFrame":
    import polars as pl

    names = COLUMNS[per]
    rows = [(one, k) for one in made for k in range(len(one.fit.groups))]
    group = pl.Series([one.group for one, _ in rows], dtype=pl.UInt32)
    fits = [(one.fit, k) for one, k in rows]
    said = [named(fit.groups[k]) for fit, k in fits]
    columns = [seen.groups[name].gather(group) for name in asked.by]
    columns.append(pl.Series(names[0], said, dtype=pl.String))
    if len(names) > 1:
        variants = [" + ".join(dict.fromkeys(n[1] for n in fit.groups[k])) for fit, k in fits]
        columns.append(pl.Series(names[1], variants, dtype=pl.String))
    columns.append(pl.Series("subsystem", [one.subsystem for one, _ in rows], dtype=pl.String))
    columns += [
        pl.Series("exposures", [round(fit.exposures[k]) for fit, k in fits], dtype=pl.Int64),
        pl.Series("candidate_in", [int(fit.candidate_in[k]) for fit, k in fits], dtype=pl.Int64),
        rounded(float(fit.attributed[k]) for fit, k in fits).alias("attributed"),
    ]
    columns += [
        rounded(PER * float(getattr(fit, what)[k]) for fit, k in fits).alias(name)
        for name, what in (("per_10000", "rate"), ("low", "low"), ("high", "high"))
    ]
    columns += [
        rounded(float(fit.tested[k]) for fit, k in fits).alias("tested"),
        rounded(float(fit.escaped[k] / fit.tested[k]) if fit.tested[k] > NONE else np.nan for fit, k in fits).alias(
            "escaping"
        ),
        pl.Series("told_apart", [bool(fit.told_apart[k]) for fit, k in fits], dtype=pl.Boolean),
    ]
    order = [*asked.by, "subsystem", "per_10000", *names]
    return pl.DataFrame(columns).sort(
        order, descending=[name == "per_10000" for name in order], nulls_last=True, maintain_order=True
    )


def notes_on(
    snapshot: Snapshot, seen: Records, made: Sequence[Attributed], asked: Scope, values: dict[str, object]
) -> tuple[str, ...]:
    """What a careful reader of attributed come-backs must know."""
    notes = [*snapshot.notes, *asked.left_out]
    matured = counts(
        snapshot.store, "comebacks_rows", where=asked.where, months=asked.months,
        values={"window": values["window"], "as_of": snapshot.day, "disposition": values["disposition"]},
    )["matured"].sum()
    unlogged = int(matured) - int(seen.jobs.sum())
    if unlogged:
        notes.append(
            f"{counted(unlogged, 'matured job has', 'matured jobs have')} no logged step that was done and stands in a "
            "procedure: left out."
        )
    known = int(seen.jobs[seen.found >= 0].sum())
    loose = sum(one.fit.loose for one in made) + int(seen.jobs[seen.found == -2].sum())
    notes.append(
        f"{counted(known, 'come-back')} of class {' and '.join(OWN_WORK)}; a repeat may also be a wrong diagnosis or a "
        "bad part, which no step answers for, and is attributed to the steps all the same."
    )
    itself, alone = sum(one.fit.by_itself for one in made), [u for u in seen.untouched if u.faults]
    if itself >= ONE_OF_THEM:
        faults, jobs = counted(sum(u.faults for u in alone), "time"), counted(sum(u.jobs for u in alone), "chance")
        notes.append(
            f"Subsystems also fail where steps left them alone: {faults} in {jobs}. At that rate "
            f"{counted(fixed(itself, 1), 'come-back')} of these would have come anyhow, and are attributed to no step."
        )
    told = [spoken(f) for f, u in zip(seen.subsystems, seen.untouched, strict=True) if u.faults]
    if known and not told:
        notes.append("Faults that come by themselves could not be told; they are attributed to steps, too.")
    elif known and len(told) < len(seen.subsystems):
        notes.append(f"What comes by itself could be told of {listed(told)} alone, and is taken off there.")
    if loose:
        notes.append(
            f"{counted(loose, 'come-back is', 'come-backs are')} of a subsystem that no step done in the job touches: "
            "attributed to none."
        )
    grouped = sum(len(g) > 1 for one in made for g in one.fit.groups)
    if grouped:
        notes.append(
            'Steps joined by "+" share one number, that of the group as a whole: the logs cannot separate them, as '
            "nearly every job that came back for what they touch, or could have, had all of them or none."
        )
    if any(np.isnan(one.fit.rate).any() for one in made):
        notes.append("Where a number is missing others can take the cause's place; low and high say what is possible.")
    return tuple(notes)
