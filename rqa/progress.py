"""How long work says how far it is: one frozen `Stage`, told to one callback; nothing here draws or prints.

Whoever does the work tells a stage when it begins something, and again as it goes on. Whoever shows it (the commands on
a terminal, a notebook, a test) passes the callback. Nobody needs to listen: the default is silence.
"""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Stage:
    """What is being done now, and how far the whole work is.

    what: in words, "reading alder/jobs.csv".
    done, total: how much of the work is over, and how much there is, in any one measure that takes about equal time
        apiece (bytes, jobs). total 0: not known, and then no time left can be told.
    size: how much of `total` this stage is.
    within: asked at any moment and from any thread: the share of this stage that is over, 0 to 1; None: not known.
    count, unit: what was counted since the work began, such as 1,204,331 "rows"; 0: nothing to count.
    """

    what: str
    done: float = 0.0
    total: float = 0.0
    size: float = 0.0
    within: Callable[[], float | None] | None = None
    count: int = 0
    unit: str = "rows"

    @property
    def share(self) -> float | None:
        """The share of the whole work that is over, 0 to 1; None when it is not known."""
        if self.total <= 0:
            return None
        inside = self.within() if self.within is not None else None
        return min(1.0, max(0.0, (self.done + self.size * (inside or 0.0)) / self.total))


Progress = Callable[[Stage], None]
"""Is told each stage as it begins. It is called by the working thread, and must return soon."""


def silent(stage: Stage) -> None:
    """Listen to nothing."""
