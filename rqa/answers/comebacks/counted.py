"""Which come-backs the findings count: those on the job's own work, or all where it is not known which those are."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from rqa.answers.core.grounds import Sentence, grounds
from rqa.answers.core.own_work import TOUCHED, in_words
from rqa.answers.core.scope import Snapshot
from rqa.answers.core.told_sites import LEAST_KNOWN, few_told, left_out_note, said_of, untold_sites
from rqa.contract import CLASSES, OWN_WORK
from rqa.measures.run import counts
from rqa.words import count, counted, plural


@dataclass(frozen=True)
class CountedClasses:
    """The classes counted, how such a come-back is said, and how many come-backs have no confirmed fault, of how many.

    `mark` is put behind the kind of a finding, so that one counted otherwise is another finding. `untouched` says that
    what jobs had worked on is not known, where that is why every class counts; `left_out` that jobs of some sites do
    not count, as their come-backs are not known by class.
    """

    classes: tuple[str, ...]
    said: str
    mark: str
    unknown: int
    returned: int
    untouched: Sentence | None = None
    left_out: Sentence | None = None

    @property
    def any_class(self) -> bool:
        """Whether every class counts."""
        return set(self.classes) == set(CLASSES)

    @property
    def where(self) -> dict[str, Sequence[str]] | None:
        """As a filter of a question; None where every class counts."""
        return None if self.any_class else {"class": list(self.classes)}

    @property
    def notes(self) -> tuple[Sentence, ...]:
        """What a reader must know where classes are not known; nothing where they are."""
        return tuple(said for said in (self.left_out, self.untouched or self._unknown) if said)

    @property
    def _unknown(self) -> Sentence | None:
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


def counted_comebacks(snapshot: Snapshot, window: int, months: tuple[date, date] | None = None) -> CountedClasses:
    """The come-backs to count of jobs closed in some months, back within `window` days."""
    unknown, returned = _returned(snapshot, window, months)
    if returned and unknown > (1 - LEAST_KNOWN) * returned:
        return CountedClasses(CLASSES, *in_words(CLASSES), unknown, returned)
    untouched = grounds(snapshot, window=window).lack(
        *TOUCHED, about="which come-backs are on what the job had worked on"
    )
    if untouched:
        said = untouched.followed("So come-backs of any class are compared.")
        return CountedClasses(CLASSES, *in_words(CLASSES), unknown, returned, said)
    left = untold_sites(snapshot, OWN_WORK)
    if few_told(snapshot, OWN_WORK):
        said = left_out_note(left, alone=True).followed("So come-backs of any class are compared.")
        return CountedClasses(CLASSES, *in_words(CLASSES), unknown, returned, Sentence(str(said), lacks=said.lacks))
    told = _returned(snapshot, window, months, without=[site.name for site in left])
    without = left_out_note(left, of=said_of(OWN_WORK)) if left else None
    return CountedClasses(OWN_WORK, *in_words(OWN_WORK), *told, left_out=without)


def _returned(
    snapshot: Snapshot, window: int, months: tuple[date, date] | None, without: Sequence[str] = ()
) -> tuple[int, int]:
    """How many come-backs have no confirmed fault, and how many there are, but for some sites."""
    found = counts(
        snapshot.store, "comebacks", by=("site",), months=months,
        values={"window": window, "as_of": snapshot.day, "disposition": "repaired"},
    )
    rows = [(kind, n) for site, kind, n in found.select("site", "class", "returned").iter_rows() if site not in without]
    return sum(n for kind, n in rows if kind == "unknown"), sum(n for _, n in rows)
