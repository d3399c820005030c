"""Which of the tests that were run are in the table of what tests cover."""

from dataclasses import dataclass

from rqa.answers.core.scope import Snapshot
from rqa.measures.run import counts

NONE_NAMED = "The table “tests” names no test that was run"


@dataclass(frozen=True)
class Coverage:
    """Whether the table `tests` names any test that was run, and those that were run and it does not name."""

    any_named: bool
    not_named: tuple[str, ...]


def coverage(snapshot: Snapshot) -> Coverage:
    """What the store's table `tests` says of the tests in its log."""
    run = counts(snapshot.store, "diagnostic_covered")
    named = run["covering"] > 0
    return Coverage(any_named=bool(named.any()), not_named=tuple(run.filter(~named)["test"].to_list()))
