"""What a comparison with the mix of work states: one finding for each group with work enough to be judged."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rqa.answers.compare.within_people import ALLOWED_FOR, NOT_NAMED, NOT_TOLD_APART
from rqa.answers.core.finding import Finding
from rqa.words import counted_of

if TYPE_CHECKING:
    import polars as pl

    from rqa.answers.compare.expected_counts import Outcome

LOOK = {
    "technician": "watch the work before speaking of it, and look for what differs in units, parts and tools first",
    "bench": "look at the order of steps, tools and light at the bench, not at persons",
    "tool": "check the tool's setting and wear; swap it with another for a week",
    "station": "run the same units at two stations",
    "site": "see what the sites do in different ways, and what they are given to do",
}
WHO = {"technician": "who did the work"}
MIND = "only the mix named is allowed for; what else makes the work unlike is not"
PEOPLE = f"for coaching and for changing the process, no verdict on a person; {MIND}"


def stated(
    table: "pl.DataFrame", who: str, outcome: str, about: "Outcome", counted: str = "", place: str = "the whole depot"
) -> tuple[Finding, ...]:
    """Findings of the rows that were judged; `table` is that of a comparison, `counted` says which events count.

    `place` is the work that the expectation comes from.
    """
    return tuple(
        Finding(
            kind=f"{about.events}, by {WHO.get(who, who)}, against what the same work brings",
            scope={who: row[who]},
            what=(
                f"{counted_of(row['observed'], about.events)}{counted} among "
                f"{counted_of(row['exposures'], about.work)}, where "
                f"the same mix of work brings {row['expected']:.1f} in {place}{_or_people(who, row)}"
            ),
            measure="observed / expected",
            size=_number(row["ratio"]),
            low=_number(row["low"]),
            high=_number(row["high"]),
            worse=row["z"] > 0,
            mirrored=True,
            jobs=row["exposures"],
            p_value=row["p_value"],
            caution=(PEOPLE if who == "technician" else MIND) + _unseen(row),
            check=LOOK[who],
            avoided=max(0.0, row["observed"] - row["expected"]) if outcome == "comeback" else None,
            events=row["observed"],
        )
        for row in table.filter(table["p_adjusted"].is_not_null()).iter_rows(named=True)
    )


def _or_people(who: str, row: Mapping[str, Any]) -> str:
    """Whether a place is told apart from the people who work there."""
    if row.get("people") == ALLOWED_FOR:
        return " with the same people"
    if row.get("people") == NOT_NAMED:
        return f"; this is the {who} or its people, who are seldom named"
    if row.get("people") != NOT_TOLD_APART:
        return ""
    return f"; this is the {who} or its people, who hardly work elsewhere"


def _unseen(row: Mapping[str, Any]) -> str:
    """How strong something that was not measured must be; nothing where the limits hold 1 anyway."""
    e_value, of_limit = row["e_value"], row["e_value_limit"]
    if e_value is None or of_limit is None or of_limit <= 1.0:
        return ""
    where = "here as in all the work" if row["ratio"] > 1.0 else "in all the work as here"
    return (
        f"; something not measured explains it away only if it is at least {e_value:.1f} times as common {where} (this "
        f"part included) and makes this at least {e_value:.1f} times as likely ({of_limit:.1f} for the limit)"
    )


def _number(value: float | None) -> float:
    """Where nothing was expected and nothing happened there is no ratio."""
    return float("nan") if value is None else value
