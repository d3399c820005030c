"""Which points set a depot's limits: a baseline of months, stages from a day or an action on, points set aside."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from rqa.answers.core.action_scope import read_scope
from rqa.answers.core.periods import day_of, first_day, period_name, span_of
from rqa.answers.core.scope import Where
from rqa.errors import RequestError
from rqa.measures.run import counts
from rqa.words import did_you_mean

if TYPE_CHECKING:
    from rqa.answers.core.scope import Snapshot

QUESTION = "control_chart"
Stages = str | date | Sequence[str | date] | None
Aside = Mapping[str | date, str]


@dataclass(frozen=True)
class ChartStage:
    """From which day on a stage is, and what it is called: an action's id, or the day."""

    name: str
    day: date


@dataclass(frozen=True)
class ChartSettings:
    """What was asked about baseline, stages and points set aside, as days."""

    baseline: tuple[date, date] | None = None
    stages: tuple[ChartStage, ...] = ()
    set_aside: Mapping[date, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def places(self, periods: Sequence[date]) -> dict[str, Any]:
        """The arguments for a chart of these points: baseline, stages and set_aside by place."""
        made: dict[str, Any] = {}
        if self.baseline is not None:
            first, last = self.baseline
            made["baseline"] = [first <= p <= last for p in periods]
        starts = self.starts(periods)
        if starts:
            made["stages"] = sorted(starts)
        aside = {i: self.set_aside[p] for i, p in enumerate(periods) if p in self.set_aside}
        if aside:
            made["set_aside"] = aside
        return made

    def starts(self, periods: Sequence[date]) -> dict[int, str]:
        """The place at which each stage begins, with its name; stages that begin at the same place share it."""
        found: dict[int, str] = {}
        for stage in self.stages:
            later = [i for i, p in enumerate(periods) if p >= stage.day]
            if later and later[0] > 0:
                found[later[0]] = f"{found[later[0]]}, {stage.name}" if later[0] in found else stage.name
        return found


def filters(snapshot: "Snapshot", where: Where | str | None) -> Where | None:
    """The filters as given, or those that the scope of an action names: model=Quern; step=close case."""
    if not isinstance(where, str) or "=" in where:
        return where
    actions = _actions(snapshot)
    if where not in actions:
        raise RequestError(
            f"{QUESTION}: where takes filters, or an action; {where!r} is none. "
            f"Actions in the store: {', '.join(actions) or 'none'}.{did_you_mean(where, actions)}"
        )
    return read_scope(actions[where]["scope"], of=f"{QUESTION}: {where}").where


def _actions(snapshot: "Snapshot") -> dict[str, dict[str, Any]]:
    return {row["action_id"]: row for row in counts(snapshot.store, "actions").iter_rows(named=True)}


def basis(
    snapshot: "Snapshot", *, period: str, baseline: object = None, stages: Stages = (), set_aside: Aside | None = None
) -> ChartSettings:
    """Read baseline, stages and points set aside as they are given to a depot's chart."""
    span = None if baseline is None or baseline == [] else span_of(QUESTION, "baseline", baseline)
    if stages is None:
        stages = ()
    given = (stages,) if isinstance(stages, str) or not isinstance(stages, Iterable) else tuple(stages)
    made, notes = [], []
    actions = _actions(snapshot) if given else {}
    for one in given:
        if isinstance(one, str) and one in actions:
            action = actions[one]
            made.append(ChartStage(str(one), action["started_on"]))
            notes.append(f"{one} ({action['what']}) took effect on {action['started_on']}, for {action['scope']}.")
        else:
            made.append(_dated_stage(one, tuple(actions)))
    if made and period in ("month", "week"):
        notes.append(f"A stage begins with the first whole {period} from its day on.")
    made.sort(key=lambda stage: stage.day)
    return ChartSettings(span, tuple(made), _aside(set_aside, period), tuple(notes))


def _dated_stage(given: object, actions: tuple[str, ...]) -> ChartStage:
    try:
        day = day_of(QUESTION, given)
    except RequestError as error:
        raise RequestError(
            f"{QUESTION}: a stage begins at a day, a month or an action; {given!r} is none. "
            f"Actions in the store: {', '.join(actions) or 'none'}.{did_you_mean(str(given), actions)}"
        ) from error
    return ChartStage(str(given) if isinstance(given, str) else day.isoformat(), day)


def _aside(given: Aside | None, period: str) -> dict[date, str]:
    found = {}
    if given is not None and not isinstance(given, Mapping):
        raise RequestError(f"{QUESTION}: set_aside takes points with their reasons, not {given!r}.")
    for point, reason in (given or {}).items():
        if not isinstance(reason, str) or not reason.strip():
            raise RequestError(f"{QUESTION}: set_aside takes a reason in words for each point: {point!r}: {reason!r}.")
        day = day_of(QUESTION, point)
        found[first_day(day, period) if period in ("month", "week") else day] = reason.strip()
    return found


def check_fits(basis: ChartSettings, periods: Sequence[date], period: str) -> None:
    """Raise `RequestError` if the baseline or a point set aside is not among a chart's points."""
    if not periods:
        return
    shown = f"the points run from {period_name(periods[0], period)} to {period_name(periods[-1], period)}"
    for day in basis.set_aside:
        if day not in periods:
            raise RequestError(f"{QUESTION}: there is no point {period_name(day, period)} to set aside; {shown}.")
    if basis.baseline is not None and not any(basis.baseline[0] <= p <= basis.baseline[1] for p in periods):
        first, last = basis.baseline
        raise RequestError(f"{QUESTION}: no mature point lies in the baseline {first} to {last}; {shown}.")
