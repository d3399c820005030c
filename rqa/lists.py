"""The lists of `rqa jobs`: of a finding, a unit, a lot, a kind of breach, a signal, or of come-backs by filters."""

from pathlib import Path
from typing import TYPE_CHECKING

from rqa.answers.core.result import Answer
from rqa.errors import RequestError
from rqa.words import enumerated

if TYPE_CHECKING:
    from rqa.depot import Depot

ENDINGS = (".xlsx", ".csv")
"""Files that a list can be written to."""
WINDOW = 30
NOT_OF = {
    "--finding": ("--window",), "--unit": ("--month", "--window", "--returned"), "--lot": ("--month", "--window"),
    "--watch": ("--month",),
}
"""Options that mean nothing for a list."""
BREACHES = "any"
"""The word for breaches of whatever kind."""


def listed(
    depot: "Depot", *, finding: str | None = None, unit: str | None = None, lot: str | None = None,
    breach: str | None = None, series: str | None = None, false_alarms: float | None = None, where: str | None = None,
    month: str | None = None, window: int | None = None, returned: bool = False, people: bool = False,
) -> Answer:
    """The one list that is asked for; `RequestError` unless exactly one is, and for an option that does not go with it.

    With a month alone it is the repairs closed in it. `window` is 30 days where it is not given; a finding has its own.
    """
    if month is not None and not any((finding, unit, lot, breach, series, where)):
        where = ""
    asked = {
        "--finding": finding, "--unit": unit, "--lot": lot, "--breach": breach, "--watch": series, "--where": where,
    }
    given = [name for name, value in asked.items() if value is not None]
    if len(given) != 1:
        said = f"not {' and '.join(given)}" if given else "none was given"
        raise RequestError(f"jobs: name one list by {enumerated(list(asked))}; {said}.")
    options = {"--month": month is not None, "--window": window is not None, "--returned": returned, "--people": people}
    unused = [name for name, is_given in options.items() if is_given and name in NOT_OF.get(given[0], ())]
    if unused:
        raise RequestError(f"jobs: {enumerated(unused)} cannot go with {given[0]}. Leave it out.")
    if false_alarms is not None and series is None:
        raise RequestError("jobs: --false-alarms goes with --watch alone. Leave it out.")
    days = WINDOW if window is None else window
    if finding is not None:
        found = depot.findings(month)
        return found.returned(people=people, id=finding) if returned else found.jobs(people=people, id=finding)
    if unit is not None:
        return depot.unit(unit, people=people)
    if lot is not None:
        part, colon, name = lot.partition(":")
        if not colon:
            raise RequestError(f"jobs: a lot is written with its part, PART:LOT, such as AC-31:K-2541, not {lot!r}.")
        own = depot.lot(part.strip(), name.strip())
        if returned:
            return own.jobs(people=people, ended="came back")
        return own.jobs(people=True) if people else own
    if breach is not None:
        answer = depot.steps.breaches(window=days, months=month)
        row = {} if breach == BREACHES else {"kind": breach}
        return answer.returned(people=people, **row) if returned else answer.jobs("breached", people=people, **row)
    if series is not None:
        signals = depot.charts.watch(window=days, false_alarms=1.0 if false_alarms is None else false_alarms)
        return (signals.returned if returned else signals.jobs)(people=people, series=series)
    back = depot.comebacks(days, where=where, months=month)
    return back.returned(people=people) if returned else back.jobs(people=people)


def write_list(answer: Answer, path: Path, *, of: str = "jobs") -> Path:
    """Write a list as a workbook or as CSV, by the file's ending."""
    if path.suffix.lower() not in ENDINGS:
        endings = " or ".join(ENDINGS)
        raise RequestError(f"{of}: a list is written to a file that ends with {endings}, not to {path.name}.")
    return answer.to_excel(path) if path.suffix.lower() == ".xlsx" else answer.to_csv(path)
