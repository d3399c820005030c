"""What a depot can tell: the grounds of every statement that something was not found, or that all is the same.

Such a statement must be able to be false. It is made by `Grounds.claim` alone, which is told what it rests on by names
out of `GROUNDS`. Where one of these is absent, it says instead that this cannot be told and what to add to the mapping.
What comes out is a `Sentence`: a text that carries its grounds as data.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from rqa.answers.core.filters import written
from rqa.answers.core.ground_list import GROUNDS, Ground
from rqa.answers.core.scope import Snapshot, month_end
from rqa.contract import EARLIEST, LATEST
from rqa.measures.groupings import JOB_NAMES
from rqa.measures.run import counts
from rqa.words import listed, months_said

CANNOT = "Cannot be told: "
"""Begins every sentence whose grounds are absent."""
WINDOW = 30


class Sentence(str):
    """A statement as text, with the grounds it rests on; `lacks` are those of them that are absent.

    A sentence that is `told` states what `Grounds.claim` was given; one that is not begins with "Cannot be told".
    `months` and `window` are those of the grounds, for the ones that look at some months or at matured jobs. `remedy`
    are the parts that say what to do; `short` is the sentence without them.
    """

    rests_on: tuple[str, ...]
    lacks: tuple[str, ...]
    months: tuple[date, date] | None
    window: int
    remedy: tuple[str, ...]

    def __new__(
        cls,
        text: str,
        rests_on: Iterable[str] = (),
        lacks: Iterable[str] = (),
        months: tuple[date, date] | None = None,
        window: int = WINDOW,
        remedy: Iterable[str] = (),
    ) -> "Sentence":
        """A text with its grounds; `Grounds.claim` makes it."""
        made = super().__new__(cls, text)
        made.rests_on, made.lacks, made.months, made.window = tuple(rests_on), tuple(lacks), months, window
        made.remedy = tuple(remedy)
        return made

    def __getnewargs__(self) -> tuple[Any, ...]:
        return str(self), self.rests_on, self.lacks, self.months, self.window, self.remedy

    def followed(self, text: str) -> "Sentence":
        """The same statement with more text behind it, which rests on nothing else."""
        return Sentence(f"{self} {text}", self.rests_on, self.lacks, self.months, self.window, self.remedy)

    @property
    def short(self) -> "Sentence":
        """The sentence without what to do."""
        return self.without(self.remedy)

    def without(self, said: Iterable[str]) -> "Sentence":
        """The sentence without those parts of what to do that were said before."""
        text, known = str(self), set(said)
        for part in self.remedy:
            text = text.replace(f" {part}", "", 1) if part in known else text
        left = [part for part in self.remedy if part not in known]
        return Sentence(text, self.rests_on, self.lacks, self.months, self.window, left)

    @property
    def told(self) -> bool:
        """Whether all of its grounds are there."""
        return not self.lacks


@dataclass(frozen=True)
class Grounds:
    """The grounds that are present in a depot as of a day, and in the jobs asked about.

    `window` is how many days a job must have been out to have matured. `months` (of closing) and `kept` (values of the
    job's own columns) are what was asked about; the grounds named _there look at these jobs alone.
    """

    present: frozenset[str]
    window: int
    months: tuple[date, date] | None = None
    kept: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def lacking(self, *names: str) -> tuple[Ground, ...]:
        """Those of the named grounds that are absent, each once and without what only follows from another one."""
        found: dict[str, Ground] = {}
        for name in names:
            root = GROUNDS[name]
            while above := next((g for g in (root.beside, root.after) if g and g not in self.present), ""):
                root = GROUNDS[above]
            if root.name not in self.present:
                found[root.name] = root
        return tuple(found.values())

    def claim(self, text: str, *rests_on: str, about: str, among: tuple[int, str] | None = None) -> Sentence:
        """The statement `text`; or, where a ground is absent, that it cannot be told.

        `about` is what is told, to follow a colon: "whether a battery was isolated late". `among` is how many cases
        were looked at, and what they are called: (3, "stations with enough readings"); of none nothing can be told.
        """
        absent = self.lacking(*rests_on)
        if not absent and among is not None and not among[0]:
            return self._made(f"{CANNOT}{about}, as there are no {among[1]}.", rests_on, (f"no {among[1]}",))
        if not absent:
            return self._made(text, rests_on)
        why = listed([g.lacking.format(window=self.window, when=self._when) for g in absent])
        remedies = dict.fromkeys([*_mapping(absent), *(g.remedy for g in absent if g.remedy)])
        said = " ".join((f"{CANNOT}{about}, as {why}.", *remedies))
        return self._made(said, rests_on, [g.name for g in absent], remedies)

    @property
    def _when(self) -> str:
        """Which jobs were asked about."""
        when = "so far" if self.months is None else f"in {months_said(*self.months)}"
        return f"{when} ({written(dict(self.kept))})" if self.kept else when

    def _made(
        self, text: str, rests_on: Iterable[str], lacks: Iterable[str] = (), remedy: Iterable[str] = ()
    ) -> Sentence:
        return Sentence(text, rests_on, lacks, self.months, self.window, remedy)

    def lack(self, *rests_on: str, about: str) -> Sentence | None:
        """That something cannot be told for want of its grounds; None where all are there."""
        said = self.claim("", *rests_on, about=about)
        return None if said.told else said


def grounds(
    snapshot: Snapshot,
    *,
    months: tuple[date, date] | None = None,
    window: int = WINDOW,
    where: Mapping[str, Sequence[str]] | None = None,
) -> Grounds:
    """What there is to rest on as of now; the grounds named _there look at the jobs asked about alone.

    `months` are first and last of their closing; of `where` the job's own columns count, the others say nothing of
    which jobs are meant. An open store does not change, so it is asked once for each day, window and jobs.
    """
    named = tuple((name, tuple(values)) for name, values in (where or {}).items() if name in JOB_NAMES and values)

    def ask() -> Grounds:
        first, last = (date.fromisoformat(EARLIEST), date.fromisoformat(LATEST)) if months is None else months
        values: dict[str, object] = {f"only_{name}": list(dict(named).get(name, ())) for name in JOB_NAMES}
        values |= {"as_of": snapshot.day, "window": window, "first_on": first, "last_on": month_end(last)}
        row = counts(snapshot.store, "grounds", values=values).row(0, named=True)
        return Grounds(frozenset(name for name, there in row.items() if there), window, months, named)

    return snapshot.store.once("grounds", (snapshot.day, months, window, named), ask)


def comebacks_seen(snapshot: Snapshot) -> bool:
    """Whether a come-back can be seen in the store at all: some unit is in more than one job."""
    return not grounds(snapshot).lacking("repeat_units")


def _mapping(absent: tuple[Ground, ...]) -> list[str]:
    """What to add to the mapping: tables, and columns of tables."""
    tables = list(dict.fromkeys(f'table = "{g.adds}"' for g in absent if g.adds))
    said = [f"Add to sources.toml a [[table]] with {listed(tables, last='and one with')}."] if tables else []
    columns: dict[str, list[str]] = {}
    for table, column in dict.fromkeys(g.maps for g in absent if g.maps):
        columns.setdefault(table, []).append(f'{column} = "…"')
    return said + [
        f'Add to [table.columns] of the [[table]] with table = "{table}" in sources.toml: {", ".join(lines)}.'
        for table, lines in columns.items()
    ]
