"""Whether a store tells what a job had worked on: only then is a come-back known as workmanship or as a new fault."""

from rqa.answers.grounds import Sentence, grounds
from rqa.answers.scope import Moment

TOUCHED = ("steps", "procedures", "described_jobs", "subsystems")
"""Without these nobody knows what a job had touched beyond the fault it was for."""


def workmanship_untold(now: Moment) -> tuple[Sentence, ...]:
    """That workmanship and new faults cannot be told apart in the store; nothing where they can."""
    about = "which come-backs with another fault than the one repaired are workmanship"
    untold = grounds(now).lack(*TOUCHED, about=about)
    return () if untold is None else (untold.followed("They are counted as new faults."),)
