"""Which come-backs the findings count: those on the job's own work, or all where it is not known which those are."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from rqa.answers.comebacks.rate import comebacks
from rqa.answers.core.grounds import Sentence, grounds
from rqa.answers.core.own_work import TOUCHED
from rqa.answers.core.scope import Moment
from rqa.contract import CLASSES, OWN_WORK
from rqa.words import count, counted, plural, spoken

LEAST_KNOWN = 0.5
"""Share of the come-backs that must be known by class before those of some classes alone are counted."""


@dataclass(frozen=True)
class Counted:
    """The classes counted, how such a come-back is said, and how many come-backs have no confirmed fault, of how many.

    `mark` is put behind the kind of a finding, so that one counted otherwise is another finding. `untouched` says that
    what jobs had worked on is not known, where that is why every class counts.
    """

    classes: tuple[str, ...]
    said: str
    mark: str
    unknown: int
    returned: int
    untouched: Sentence | None = None

    @property
    def any_class(self) -> bool:
        """Whether every class counts."""
        return set(self.classes) == set(CLASSES)

    @property
    def where(self) -> dict[str, Sequence[str]] | None:
        """As a filter of a question; None where every class counts."""
        return None if self.any_class else {"class": list(self.classes)}

    @property
    def note(self) -> Sentence | None:
        """What a reader must know where classes are not known; None where they are."""
        if self.untouched:
            return self.untouched
        if not self.unknown:
            return None
        said = (
            f"{count(self.unknown)} of {counted(self.returned, 'come-back')} {plural(self.unknown, 'has', 'have')} no "
            "confirmed fault (“found” of the job that came back)"
        )
        if self.any_class:
            return Sentence(
                f"{said}: come-backs of any class are compared, and which of them the work may have caused cannot be "
                "told. Map “found” in sources.toml, and have it written down.",
                lacks=("found",),
            )
        return Sentence(f"{said} and are not among those compared, which are on what the job had worked on.")


def counted_comebacks(now: Moment, window: int, months: tuple[date, date] | None = None) -> Counted:
    """The come-backs to count of jobs closed in some months, back within `window` days."""
    table = comebacks(now, window=window, by="class", months=months).table
    each = dict(table.select("class", "returned").iter_rows())
    returned = sum(each.values())
    unknown = each["unknown"]
    if returned and unknown > (1 - LEAST_KNOWN) * returned:
        return Counted(CLASSES, *in_words(CLASSES), unknown, returned)
    untouched = grounds(now, window=window).lack(*TOUCHED, about="which come-backs are on what the job had worked on")
    if untouched:
        said = untouched.followed("So come-backs of any class are compared.")
        return Counted(CLASSES, *in_words(CLASSES), unknown, returned, said)
    return Counted(OWN_WORK, *in_words(OWN_WORK), unknown, returned)


def in_words(classes: Iterable[str]) -> tuple[str, str]:
    """How come-backs of these classes are said, and what is put behind the kind of a finding about them."""
    kept = set(classes)
    if kept == set(OWN_WORK):
        return "on what the job had worked on", ""
    if kept == set(CLASSES):
        return "of any class", ", of any class"
    named = [c for c in CLASSES if c in kept]
    return f"of class {' or '.join(spoken(c) for c in named)}", ""
