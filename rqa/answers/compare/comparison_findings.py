"""What a comparison with the mix of work states: one finding for each group with work enough to be judged."""

from typing import TYPE_CHECKING

from rqa.answers.core.finding import Finding
from rqa.words import counted_of

if TYPE_CHECKING:
    import polars as pl

    from rqa.answers.compare.comparison import Outcome

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
                f"the same mix of work brings {row['expected']:.1f} in {place}"
            ),
            measure="observed / expected",
            size=_number(row["ratio"]),
            low=_number(row["low"]),
            high=_number(row["high"]),
            worse=row["z"] > 0,
            mirrored=True,
            jobs=row["exposures"],
            p_value=row["p_value"],
            caution=PEOPLE if who == "technician" else MIND,
            check=LOOK[who],
            avoided=max(0.0, row["observed"] - row["expected"]) if outcome == "comeback" else None,
            events=row["observed"],
        )
        for row in table.filter(table["p_adjusted"].is_not_null()).iter_rows(named=True)
    )


def _number(value: float | None) -> float:
    """Where nothing was expected and nothing happened there is no ratio."""
    return float("nan") if value is None else value
