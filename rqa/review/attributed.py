"""What the page says of come-backs that are attributed to steps, wherever it shows some."""

from typing import Any

from rqa.answers.core.result import Answer
from rqa.contract import OWN_WORK
from rqa.words import counted, listed, months_said, spoken

SPLIT = (
    "How come-backs are split between steps that touch the same subsystem rests on the jobs that had the one and not "
    "the other: where these are few, the split differs from window to window. Look at such steps together."
)


def laid_of(answer: Answer) -> str:
    """Which come-backs are attributed to steps: classes, window, months, and the sites where others cannot be told."""
    s: Any = answer.settings
    sites = s["where"].get("site")
    return (
        f"come-backs of class {' and '.join(OWN_WORK)} within {counted(s['window'], 'day')}, of jobs closed "
        f"{months_said(*s['months'])}{f' at {listed([spoken(name) for name in sites])}' if sites else ''}"
    )
