"""The data contract: what each table holds, declared once.

The store's columns, the intake's checks, the mapping's validation and the data dictionary are all
made from this module, so a change here changes them together. It imports nothing of the package.
"""

from dataclasses import dataclass, field
from typing import Literal

Kind = Literal["text", "code", "integer", "number", "time", "boolean", "list", "date", "month"]
"""text: free text or an id · code: one of `allowed` · integer, number · time: an instant, stored in UTC · boolean ·
list: names separated by ; , | or line ends · date: a calendar day · month: the first day of a month."""


@dataclass(frozen=True)
class Column:
    """One column of a table: its kind, what it means, and what a value must satisfy."""

    name: str
    kind: Kind
    meaning: str
    key: bool = False
    required: bool = False
    allowed: tuple[str, ...] = ()
    unit: str = ""
    at_least: float | None = None
    numbered: str = ""
    """How the number is derived from time order, then row order, when the mapping does not give it: "row" counts the
    rows that share the rest of the key; a column's name counts that column's first appearances in the job."""
    default: str | None = None
    """The value taken when the source gives none, as text."""


@dataclass(frozen=True)
class Rule:
    """A rule over several columns of one row; `broken` is SQL that is true for a row that breaks it."""

    name: str
    column: str
    broken: str


@dataclass(frozen=True)
class Lines:
    """How several lines of a source become one row of a table, where the mapping says that they are one.

    Of every column that is not named here, the first value given by a line is taken.
    """

    same: tuple[str, ...]
    """Columns in which lines must not differ: they tell what the row is about."""
    each: tuple[str, ...]
    """Columns that every line gives by itself, as they decide how it is read."""
    start: str
    """The time of which the earliest is taken."""
    end: str
    """The time of which the latest is taken; none while a line is open."""
    state: str
    """The code that says whether a line is open."""
    open: str
    """Its value for an open line; one such line makes the row open."""
    void: str
    """Its value for a line that counts only where all lines have it."""


@dataclass(frozen=True)
class Table:
    """One table: what a row is, its columns in order, its rules over several columns."""

    name: str
    row: str
    columns: tuple[Column, ...]
    rules: tuple[Rule, ...] = ()
    reference: bool = False
    order: tuple[str, ...] = field(default=())
    """Times, most telling first, that order the rows of a job when numbers are derived."""
    spans: tuple[tuple[str, str], ...] = ()
    """Pairs of times, start and end; used to tell which pass of a repeated hour a start belongs to."""
    days: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Columns the load adds: the day, in the site's own calendar, of the first of these times that is given."""
    lines: Lines | None = None
    """How lines of one row are put together; None where every line is a row."""

    @property
    def key(self) -> tuple[str, ...]:
        """The names of the key columns."""
        return tuple(c.name for c in self.columns if c.key)

    @property
    def names(self) -> tuple[str, ...]:
        """The names of all columns, in order."""
        return tuple(c.name for c in self.columns)

    def column(self, name: str) -> Column:
        """The column of that name; `KeyError` if there is none."""
        for c in self.columns:
            if c.name == name:
                return c
        raise KeyError(name)


DISPOSITIONS = ("repaired", "no_fault_found", "not_economic", "returned_unrepaired", "cancelled", "open")
BILLING = ("warranty", "paid", "goodwill")
STEP_OUTCOMES = ("pass", "fail", "done", "skipped")
TEST_OUTCOMES = ("pass", "fail", "aborted")
PHASES = ("open", "isolate", "release", "remove", "fit", "reseat", "align", "verify", "close", "diagnose")
HAZARDS = (
    "battery", "esd", "sharp_edge", "heat", "pinch", "adhesive", "latch", "mixed_fasteners", "alignment",
)
CLASSES = ("no_fault_found", "unknown", "repeat", "workmanship", "new_fault")
"""Classes of a come-back, in the order in which they take precedence."""
OWN_WORK = ("repeat", "workmanship")
"""Classes of come-backs that the index job's own work may have caused."""

EARLIEST = "1990-01-01"
LATEST = "2100-01-01"
"""Times outside these dates are typing or export errors and are refused."""

JOBS = Table(
    "jobs",
    "one repair job",
    (
        Column("job_id", "text", "the job's id", key=True, required=True),
        Column("unit_id", "text", "the repaired unit; normalised: capitals, no spaces", required=True),
        Column("model", "text", "the unit's model", required=True),
        Column("site", "text", "where the job was done", required=True),
        Column("procedure", "text", "the repair procedure followed", required=True),
        Column("opened_at", "time", "when the job was opened", required=True),
        Column("disposition", "code", "how the job ended", required=True, allowed=DISPOSITIONS),
        Column("closed_at", "time", "when the job was closed; required once closed"),
        Column("complaint", "text", "subsystem the customer named"),
        Column("found", "text", "subsystem confirmed at fault"),
        Column("technician", "text", "who answers for the job"),
        Column("billing", "code", "who pays", allowed=BILLING),
        Column("labour_minutes", "number", "time booked on the job", unit="minutes", at_least=0),
        Column("parts_cost", "number", "parts used", unit="currency of the workspace", at_least=0),
        Column("freight_cost", "number", "shipping, both ways", unit="currency of the workspace", at_least=0),
    ),
    rules=(
        Rule(
            "closing time missing though the job is not open",
            "closed_at",
            "closed_at is null and disposition <> 'open'",
        ),
        Rule("closed before it was opened", "closed_at", "closed_at < opened_at"),
    ),
    spans=(("opened_at", "closed_at"),),
    days=(("opened_on", ("opened_at",)), ("closed_on", ("closed_at",))),
    lines=Lines(
        same=("unit_id", "model", "site"), each=("site",), start="opened_at", end="closed_at", state="disposition",
        open="open", void="cancelled",
    ),
)

STEPS = Table(
    "steps",
    "one attempt at one step of a job",
    (
        Column("job_id", "text", "the job", key=True, required=True),
        Column(
            "step_seq", "integer", "place of the step in the job", key=True, required=True, at_least=0, numbered="step"
        ),
        Column(
            "attempt",
            "integer",
            "1 for the first try, then 2, 3, …",
            key=True,
            required=True,
            at_least=1,
            numbered="row",
        ),
        Column("step", "text", "the step's name, as in the procedure", required=True),
        Column("outcome", "code", "`done` means that no check was made", required=True, allowed=STEP_OUTCOMES),
        Column("technician", "text", "who did the step"),
        Column("bench", "text", "where it was done"),
        Column("tool", "text", "the tool used"),
        Column("started_at", "time", "when the attempt began"),
        Column("ended_at", "time", "when the attempt ended"),
        Column("fault", "text", "fault code when failed"),
        Column("value", "number", "measured value"),
    ),
    rules=(Rule("ended before it started", "ended_at", "ended_at < started_at"),),
    order=("started_at", "ended_at"),
    spans=(("started_at", "ended_at"),),
    days=(("done_on", ("ended_at", "started_at")),),
)

DIAGNOSTICS = Table(
    "diagnostics",
    "one run of one post-repair test",
    (
        Column("job_id", "text", "the job", key=True, required=True),
        Column("test", "text", "the test's name", key=True, required=True),
        Column(
            "run", "integer", "1 for the first run, then 2, 3, …", key=True, required=True, at_least=1, numbered="row"
        ),
        Column("outcome", "code", "result of the run", required=True, allowed=TEST_OUTCOMES),
        Column("run_at", "time", "when the test was run", required=True),
        Column("station", "text", "the test station"),
        Column("value", "number", "measured value", unit="the row's `unit`"),
        Column("lower_limit", "number", "lowest passing value", unit="the row's `unit`"),
        Column("upper_limit", "number", "highest passing value", unit="the row's `unit`"),
        Column("unit", "text", "unit of the value and limits"),
    ),
    rules=(Rule("lower limit above upper limit", "lower_limit", "lower_limit > upper_limit"),),
    order=("run_at",),
    days=(("run_on", ("run_at",)),),
)

PARTS = Table(
    "parts",
    "one part fitted",
    (
        Column("job_id", "text", "the job", key=True, required=True),
        Column("line", "integer", "line of the job's parts list", key=True, required=True, at_least=0, numbered="row"),
        Column("part_no", "text", "part number", required=True),
        Column("lot", "text", "supplier's lot"),
        Column("quantity", "number", "pieces fitted", at_least=0),
        Column("unit_cost", "number", "cost of one piece", unit="currency of the workspace", at_least=0),
    ),
)

PROCEDURES = Table(
    "procedures",
    "one step of one procedure",
    (
        Column("procedure", "text", "the procedure", key=True, required=True),
        Column("step_seq", "integer", "place in the procedure", key=True, required=True, at_least=0),
        Column("step", "text", "the step's name", required=True),
        Column("phase", "code", "kind of act", required=True, allowed=PHASES),
        Column("subsystems", "list", "subsystems the step touches, as jobs name them; separated by ; or ,"),
        Column("hazards", "list", "hazards of the step, separated by ; or ,", allowed=HAZARDS),
        Column("opportunities", "integer", "chances of a defect, e.g. connectors reseated", at_least=1, default="1"),
        Column("hold_point", "boolean", "work stops until this is verified", default="false"),
        Column("irreversible", "boolean", "cannot be undone", default="false"),
        Column("must_follow", "text", "the step that must come before"),
    ),
    reference=True,
)

PAIRINGS = Table(
    "pairings",
    "a parts rule: one part requires another",
    (
        Column("part_no", "text", "the part fitted", key=True, required=True),
        Column("requires_part_no", "text", "the part that must be fitted with it", key=True, required=True),
    ),
    reference=True,
)

TESTS = Table(
    "tests",
    "what a diagnostic covers: one test",
    (
        Column("test", "text", "the test's name", key=True, required=True),
        Column("subsystem", "text", "the subsystem the test covers", required=True),
    ),
    reference=True,
)

RETIREMENTS = Table(
    "retirements",
    "a unit known to have left service",
    (
        Column("unit_id", "text", "the unit; normalised like that of a job", key=True, required=True),
        Column("retired_at", "time", "when it left service", required=True),
    ),
    days=(("retired_on", ("retired_at",)),),
)

ACTIONS = Table(
    "actions",
    "one improvement",
    (
        Column("action_id", "text", "the action's id", key=True, required=True),
        Column("what", "text", "what is changed", required=True),
        Column("started_on", "date", "when it took effect", required=True),
        Column("scope", "text", "filters on site, model, procedure, step, technician", required=True),
        Column("finding_id", "text", "the finding that led to it"),
        Column("owner", "text", "who answers for it"),
        Column("expected_change", "text", "what it should change, and by how much"),
        Column("closed_on", "date", "when it was closed"),
    ),
    rules=(Rule("closed before it started", "closed_on", "closed_on < started_on"),),
    reference=True,
)

GOALS = ("first_pass_yield", "first_run_pass", "clean_jobs")
GOAL_OF_COMEBACKS = r"comebacks_(\d{1,4})"
"""What a goal can be set for, by name: a measure, or come-backs within a number of days."""
GOAL = "the measure: " + ", ".join(("`comebacks_30` (or another number of days)", *(f"`{g}`" for g in GOALS)))
TARGETS = Table(
    "targets",
    "one goal for one measure from one month on",
    (
        Column("measure", "text", GOAL, key=True, required=True),
        Column("from_month", "month", "first month the goal holds for", key=True, required=True),
        Column("value", "number", "the goal, a share: 5 % is 0.05", required=True),
    ),
    reference=True,
)

STUDIES = Table(
    "studies",
    "one judgement of one unit in a planned study of the measuring",
    (
        Column("study", "text", "the study", key=True, required=True),
        Column("unit", "text", "the unit or case that was judged", key=True, required=True),
        Column("appraiser", "text", "who or which station judged", key=True, required=True),
        Column("trial", "integer", "1 for the first judgement, then 2, 3, …", key=True, required=True, at_least=1),
        Column("value", "number", "what was read; this or `outcome` is required"),
        Column("outcome", "text", "what was judged, such as pass or fail"),
        Column("reference", "text", "the accepted value or outcome, where there is one"),
        Column("test", "text", "the diagnostic that is studied"),
    ),
    rules=(Rule("neither a value nor an outcome", "value", "value is null and outcome is null"),),
    reference=True,
)

_ALL = (JOBS, STEPS, DIAGNOSTICS, PARTS, PROCEDURES, PAIRINGS, TESTS, RETIREMENTS, ACTIONS, TARGETS, STUDIES)
TABLES = {t.name: t for t in _ALL}
UNIT_COLUMN = "unit_id"
"""The column whose values are normalised to capitals without spaces, wherever it stands."""
