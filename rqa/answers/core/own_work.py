"""Whether a store tells what a job had worked on: only then is a come-back known as workmanship or as a new fault."""

from collections.abc import Collection, Iterable

from rqa.answers.core.grounds import Sentence, grounds
from rqa.answers.core.scope import Snapshot
from rqa.contract import CLASSES, OWN_WORK
from rqa.words import spoken

TOUCHED = ("steps", "procedures", "described_jobs", "subsystems")
"""Without these nobody knows what a job had touched beyond the fault it was for."""
CONFIRMED = ("repeat", "workmanship", "new_fault")
"""Classes of come-backs with a fault found."""
FAULTS = tuple(c for c in CLASSES if c != "no_fault_found")
"""Classes that only the fault found on return tells apart; where none is ever written down, all are unknown."""


def hang_on_found(classes: Collection[str]) -> bool:
    """Whether the come-backs of these classes together can be told only from the faults found on return."""
    return set(FAULTS) & set(classes) not in (set(), {"unknown"}, set(FAULTS))


def hang_on_touched(classes: Collection[str]) -> bool:
    """Whether the come-backs of these classes together can be told only from what the jobs had worked on."""
    return len({"workmanship", "new_fault"} & set(classes)) == 1


def untold_classes(snapshot: Snapshot) -> tuple[str, ...]:
    """The classes of which nothing can be told as no fault found on return is ever written down; none where it is."""
    return tuple(c for c in FAULTS if hang_on_found((c,))) if grounds(snapshot).lacking("found") else ()


def workmanship_untold(snapshot: Snapshot, *, new_faults: int) -> tuple[Sentence, ...]:
    """That workmanship and new faults cannot be told apart in the store; nothing where they can.

    `new_faults` is how many the answer has (or how many of its rows), so that it speaks of them only where there are.
    """
    about = "which come-backs with another fault than the one repaired are workmanship"
    untold = grounds(snapshot).lack(*TOUCHED, about=about)
    if untold is None:
        return ()
    return (untold.followed("They are counted as new faults.") if new_faults else untold,)


def in_words(classes: Iterable[str]) -> tuple[str, str]:
    """How come-backs of these classes are said, and what is put behind the kind of a finding about them."""
    kept = set(classes)
    if kept == set(OWN_WORK):
        return "on what the job had worked on", ""
    if kept == set(CLASSES):
        return "of any class", ", of any class"
    named = [c for c in CLASSES if c in kept]
    return f"of class {' or '.join(spoken(c) for c in named)}", ""
