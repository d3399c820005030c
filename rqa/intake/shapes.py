"""Settings of a `[[table]]` for files whose rows are none of its rows yet: wide sheets, and logs of events."""

from pydantic import Field, model_validator

from rqa.intake.parts import Part, Texts

STARTS = ("start", "started", "begin")
ENDS = ("complete", "completed", "end", "ended", "finish", "finished")
"""Words of a life cycle that begin and end an attempt where the mapping names none: `start` and `complete` as in the
standard IEEE 1849 (XES), and usual words of other logs."""


class ColumnsToRows(Part):
    """Columns of a wide sheet that become rows: which column takes their names, and which the cells."""

    name: str
    """The column that takes the name of the source's column, such as `test` or `step`."""
    value: str | None = None
    """The column that takes the cell, such as `outcome`."""
    columns: dict[str, dict[str, str]]
    """By the name that a row gets: which columns of the source become which columns of the row."""

    @model_validator(mode="before")
    @classmethod
    def _in_full(cls, given: object) -> object:
        """A list of columns, or a column by name, gives the cells of one column each."""
        if not isinstance(given, dict):
            return given
        listed, value = given.get("columns"), given.get("value")
        if isinstance(listed, list):
            listed = {c: c for c in listed if isinstance(c, str)}
        if isinstance(listed, dict):
            plain = [c for c in listed.values() if isinstance(c, str)]
            if plain and not isinstance(value, str):
                raise ValueError("value says which column takes the cells, such as value = 'outcome'")
            listed = {n: {value: c} if isinstance(c, str) else c for n, c in listed.items()}
        return given | {"columns": listed}

    @model_validator(mode="after")
    def _some(self) -> "ColumnsToRows":
        if not self.columns or not all(self.columns.values()):
            raise ValueError("columns names no column that becomes a row")
        return self


class Events(Part):
    """A log with a row for each event, of which attempts at steps are made: which column tells what of an event."""

    case: str
    """The column with the job's id."""
    activity: str
    """The column with the step."""
    time: str
    """The column with the event's time."""
    lifecycle: str | None = None
    """The column that tells starts from ends; without one each event is the end of an attempt."""
    start: Texts = Field(default_factory=lambda: list(STARTS))
    """The texts of `lifecycle` that begin an attempt."""
    end: Texts = Field(default_factory=lambda: list(ENDS))
    """The texts of `lifecycle` that end one. All other events are passed over."""

    @model_validator(mode="after")
    def _apart(self) -> "Events":
        starts, ends = ({t.strip().lower() for t in texts} for texts in (self.start, self.end))
        if not starts or not ends or "" in starts | ends:
            raise ValueError("start and end each name a text of lifecycle at least")
        if both := sorted(starts & ends):
            raise ValueError(f"{both[0]!r} cannot stand in both start and end")
        return self

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns of the source that it names."""
        return tuple(c for c in (self.case, self.activity, self.time, self.lifecycle) if c is not None)
