"""The month's page as plain facts: everything it says, before any of it is drawn or written as HTML."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from rqa.answers.core.grounds import CANNOT, Sentence
from rqa.plots.level_change import LevelChange
from rqa.review.ledger import Record
from rqa.words import counted, months_said


@dataclass(frozen=True)
class PageTable:
    """A small table of texts; the first `names` columns are names, the others numbers, set to the right."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    names: int = 1


@dataclass(frozen=True)
class FigureScope:
    """What figures count: the first and last of the months looked at, and within how many days a come-back counts.

    `of` says what lies in these months; `more` is what else a reader must know of the counting.
    """

    months: tuple[date, date] | None
    window: int | None = None
    of: str = "jobs closed"
    more: str = ""

    @property
    def caption(self) -> str:
        """The same in words."""
        said = [] if self.months is None else [f"Counted are {self.of} in {months_said(*self.months)}."]
        said += (
            [] if self.window is None else [f"Come-backs are those within {counted(self.window, 'day')} of closing."]
        )
        return " ".join([*said, self.more]).strip()

    @property
    def short(self) -> str:
        """The same in as few words as stand beside a heading."""
        said = [] if self.months is None else [months_said(*self.months)]
        said += [] if self.window is None else [f"come-backs within {counted(self.window, 'day')}"]
        return ", ".join(said) or "in the months named"


@dataclass(frozen=True)
class PageFigure:
    """One picture with its heading, how to read it, its text alternative, and the numbers behind it.

    `basis` is said under it where it stands in no section that says it for all of its figures. `hidden` says how many
    of how many groups with any case are not shown, as they have too few or would give away one that has.
    """

    key: str
    heading: str
    reading: str
    spec: dict[str, Any]
    table: PageTable
    notes: tuple[str, ...] = ()
    basis: FigureScope | None = None
    months: tuple[date, date] | None = None
    window: int | None = None
    hidden: tuple[int, int] = (0, 0)

    @property
    def caption(self) -> str:
        """What it counts, where it says that itself and has anything to count."""
        return self.basis.caption if self.basis is not None and self.table.rows else ""

    @property
    def alternative(self) -> str:
        """What the picture shows, in words."""
        return str(self.spec["description"])


@dataclass(frozen=True)
class Verdict:
    """One measure up to the month: its share, and whether its level changed.

    `since` says in which month it then did, `level` what it is since; `before` is the level up to that month, or the
    share of all months before where there is no such change; `change` is the same in dates and numbers.
    """

    measure: str
    month: str
    share: str
    interval: str
    counts: str
    before: str
    difference: str
    word: str
    sentence: Sentence
    since: str = ""
    level: str = ""
    change: LevelChange | None = None


@dataclass(frozen=True)
class Projected:
    """A rate that the month does not have yet: what it is expected to be."""

    measure: str
    month: str
    share: str
    interval: str
    sentence: str


@dataclass(frozen=True)
class Pointer:
    """One finding: where, what differs by more than chance, by how much, and what to do next."""

    id: str
    state: str
    where: str
    what: str
    size: str
    caution: str
    check: str
    section: str = ""


@dataclass(frozen=True)
class CasesListed:
    """The jobs (or checks, or runs) behind a finding: `id` is its own, `where` its place, `what` how many of what.

    `size` is how many the list has in all; `table` shows the first of them, `note` says how to have all.
    """

    id: str
    where: str
    what: str
    size: int
    table: PageTable
    note: str

    @property
    def address(self) -> str:
        """Its place on the page."""
        return f"jobs-{self.id}"


@dataclass(frozen=True)
class Tile:
    """One measure of the sheet: value and month, its state as a word with a sign, its goal, its course as a picture.

    Where its level changed the value is the mean since then, and `when` these months; else that of the latest final
    month. `of` says what it counts where the name of the measure does not; `loud`: whether it became worse. `address`
    is where the annex tells of it. `spec` is empty where there is nothing to draw.
    """

    key: str
    measure: str
    of: str
    value: str
    when: str
    sign: str
    word: str
    loud: bool
    goal: str
    spec: dict[str, Any]
    address: str

    @property
    def alternative(self) -> str:
        """What the picture shows, in words; nothing where there is none."""
        return str(self.spec.get("description", ""))


@dataclass(frozen=True)
class ProblemLine:
    """A problem of the sheet: where, what and how much, what to do next, and what is being done.

    `ids` are its findings, `address` the place of one of them in the annex, `listed` that of the jobs behind the one
    whose numbers are said, nothing where there is no list; `worth` is what it costs a year, or
    in all; `answered` whether an action that has begun is about it. `events` of `jobs` are what it counts, `avoided`
    the come-backs that could be avoided, `cost` the sum that `worth` names, if any.
    """

    ids: tuple[str, ...]
    address: str
    listed: str
    where: str
    what: str
    worth: str
    check: str
    action: str
    state: str
    answered: bool
    events: int | None
    jobs: int
    avoided: float
    cost: float | None


@dataclass(frozen=True)
class SheetLine:
    """What the sheet says of one thing, a line an item, with its place in the annex.

    `linked` are the first words of the first item, where they lead there, too.
    """

    heading: str
    items: tuple[str, ...]
    address: str
    link: str
    linked: str = ""


def in_short(text: str) -> str:
    """A text as the sheet says it: of what cannot be told without what to do, which stands in the annex."""
    return text.short if isinstance(text, Sentence) else text


@dataclass(frozen=True)
class Sheet:
    """The manager's sheet: what fits on one page of paper, under its `heading` and the line below that.

    `verdict` holds a sentence on quality, one on goals, one on what to decide. `quiet` is said where there are no
    `problems`; `basis` says what these count, and how many more there are. `to_act` are the reasons, in words, for
    which somebody has to act; none where nobody has.
    """

    heading: str
    under: str
    verdict: tuple[Sentence, ...]
    tiles: tuple[Tile, ...]
    problems: tuple[ProblemLine, ...]
    quiet: Sentence
    basis: str
    lines: tuple[SheetLine, ...]
    cautions: str
    to_act: tuple[str, ...]

    @property
    def quiet_below(self) -> str:
        """What is said in the place of the problems, where the verdict has not said it."""
        return "" if self.quiet in self.verdict else self.quiet


@dataclass(frozen=True)
class Section:
    """A section of the page: its heading and, in the order in which they are shown, what stands in it.

    `words` are paragraphs, `points` a list, `notes` small print; `key` is its address on the page. `basis` holds for
    every figure of it.
    """

    key: str
    heading: str
    basis: FigureScope | None
    words: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    tables: tuple[PageTable, ...] = ()
    figures: tuple[PageFigure, ...] = ()

    @property
    def caption(self) -> str:
        """What its figures count; nothing where it has none, only that something cannot be told."""
        said = (*self.words, *self.points)
        counts = self.tables or self.figures or any(not text.startswith(CANNOT) for text in said)
        return self.basis.caption if self.basis is not None and counts else ""

    @property
    def span(self) -> str:
        """The months and days beside its heading; nothing where it says nothing of what is counted."""
        return self.basis.short if self.basis is not None and self.caption else ""


@dataclass(frozen=True)
class MonthFacts:
    """The whole page.

    `quiet` is said where there are no `pointers`. `first` are the sections after the month in words, `then` those
    after the figures, `last` those after what was loaded. `record` is what a later page is compared with. `sheet` is
    the first page, which is all that a manager needs; the rest is its annex. `looked_at` and `shown_months` say which
    months the findings and the figures look at. `lists` are the jobs behind the findings of the page.
    """

    title: str
    month: date
    month_name: str
    as_of: str
    headline: Sentence
    summary: Sentence
    verdicts: tuple[Verdict, ...]
    projected: tuple[Projected, ...]
    luck: str
    pointers: tuple[Pointer, ...]
    quiet: Sentence
    looked: tuple[str, ...]
    figures: tuple[PageFigure, ...]
    first: tuple[Section, ...]
    then: tuple[Section, ...]
    last: tuple[Section, ...]
    record: Record
    intake: tuple[PageTable, ...]
    files: PageTable
    intake_words: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    definitions: tuple[tuple[str, str], ...]
    made_by: str
    looked_at: str
    shown_months: str
    sheet: Sheet
    lists: tuple[CasesListed, ...] = ()

    @property
    def drawn(self) -> tuple[PageFigure, ...]:
        """Every figure of the page, in its order."""
        before, after = ([f for s in part for f in s.figures] for part in (self.first, (*self.then, *self.last)))
        return (*before, *self.figures, *after)

    @property
    def sections(self) -> tuple[Section, ...]:
        """Every section that is made of facts alone, in the page's order."""
        return (*self.first, *self.then, *self.last)
