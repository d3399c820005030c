"""Small depots for hypothesis: few units, few days, so that ties, overlaps and same-day returns are the rule."""

from datetime import datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from tests.depots import completed

START = datetime(2026, 1, 28, 22, 0)
SUBSYSTEMS = ("battery", "board", "display")
UNITS = ("U1", "U2", "U'3 ☂")
maybe = st.sampled_from


def times(most_days: int = 75) -> st.SearchStrategy[datetime]:
    """Coarse times, so that equal ones are common, over months of which some stay empty."""
    return st.builds(lambda d, h: START + timedelta(days=d, hours=h), st.integers(0, most_days), maybe((0, 0, 1, 3)))


@st.composite
def jobs(draw: st.DrawFn) -> list[dict[str, Any]]:
    made = []
    for number in range(draw(st.integers(0, 9))):
        opened = draw(times())
        disposition = draw(
            maybe(("repaired", "repaired", "repaired", "no_fault_found", "not_economic", "cancelled", "open"))
        )
        stays = draw(maybe((0, 0, 1, 30, 24 * 5, 24 * 40)))
        made.append(
            completed("jobs", {
                "job_id": f"J{number}", "unit_id": draw(maybe(UNITS)), "model": draw(maybe(("Marl-8", "Quern"))),
                "site": draw(maybe(("Alder", "Birch"))), "procedure": draw(maybe(("board", "screen"))),
                "opened_at": opened, "closed_at": None if disposition == "open" else opened + timedelta(hours=stays),
                "disposition": disposition, "complaint": draw(maybe((None, *SUBSYSTEMS))),
                "found": draw(maybe((None, *SUBSYSTEMS))), "technician": draw(maybe((None, "T01", "T02"))),
                "billing": draw(maybe((None, "warranty", "paid"))),
            })
        )
    return made


@st.composite
def steps(draw: st.DrawFn) -> list[dict[str, Any]]:
    made = []
    for job in range(draw(st.integers(0, 10))):
        for place in range(draw(st.integers(0, 3))):
            for attempt in range(1, draw(st.integers(1, 2)) + 1):
                ended = draw(st.one_of(st.none(), times()))
                made.append(
                    completed("steps", {
                        "job_id": f"J{job}", "step_seq": place, "attempt": attempt,
                        "step": draw(maybe(("open case", "seat board", "close case"))),
                        "outcome": draw(maybe(("pass", "pass", "fail", "done", "skipped"))),
                        "technician": draw(maybe((None, "T01", "T03"))), "bench": draw(maybe((None, "B1", "B2"))),
                        "tool": draw(maybe((None, "driver"))), "started_at": None, "ended_at": ended,
                    })
                )
    return made


@st.composite
def diagnostics(draw: st.DrawFn) -> list[dict[str, Any]]:
    made = []
    for job in range(draw(st.integers(0, 10))):
        for test in draw(st.sets(maybe(("charge", "touch")))):
            for run in range(1, draw(st.integers(1, 2)) + 1):
                made.append(
                    completed("diagnostics", {
                        "job_id": f"J{job}", "test": test, "run": run, "run_at": draw(times()),
                        "outcome": draw(maybe(("pass", "fail", "aborted"))), "station": draw(maybe((None, "S1"))),
                    })
                )
    return made


@st.composite
def procedures(draw: st.DrawFn) -> list[dict[str, Any]]:
    made = []
    for procedure in ("board", "screen"):
        for place in range(draw(st.integers(0, 3))):
            touched = draw(st.one_of(st.none(), st.lists(maybe(SUBSYSTEMS), max_size=2)))
            made.append(
                completed("procedures", {
                    "procedure": procedure, "step_seq": place, "subsystems": touched,
                    "step": draw(maybe(("open case", "seat board", "close case"))),
                    "phase": draw(maybe(("open", "fit", "close"))),
                })
            )
    return made


def tables() -> st.SearchStrategy[dict[str, list[dict[str, Any]]]]:
    return st.fixed_dictionaries(
        {"jobs": jobs(), "steps": steps(), "diagnostics": diagnostics(), "procedures": procedures()}
    )
