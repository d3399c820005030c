"""What can be told of a store, and which one line of its mapping would let most be told beside it."""

from collections.abc import Sequence
from dataclasses import replace

from rqa.answers.comebacks.classes import ComebackCauses
from rqa.answers.comebacks.costs import ComebackCosts
from rqa.answers.comebacks.lots import Lots
from rqa.answers.comebacks.rate import Comebacks
from rqa.answers.core.ground_list import GROUNDS, SEEN, Ground
from rqa.answers.core.grounds import WINDOW, Grounds, grounds
from rqa.answers.core.needs import OF_GROUPING, OF_MEASURE
from rqa.answers.core.scope import snapshot_at
from rqa.answers.improve.goals import Targets
from rqa.answers.steps.battery_breaches import BatteryBreaches
from rqa.answers.steps.conformance import Conformance
from rqa.answers.steps.risk import StepRisk
from rqa.answers.tests.drift import StationDrift
from rqa.answers.tests.escapes import Escapes
from rqa.answers.tests.outcomes import DiagnosticOutcomes
from rqa.answers.yields.rework import ReworkRoutes
from rqa.contract import TABLES
from rqa.intake.mapping import MAPPING_FILE, Mapping, TableSpec
from rqa.proposals.left_out import blocks_left_out
from rqa.proposals.written import toml
from rqa.store.engine import Store
from rqa.store.seen import Seen, SeenForm, SeenTopic
from rqa.words import counted, listed

TOPICS: dict[str, tuple[str, ...]] = {
    "come-back rates": Comebacks.needs,
    "why units came back": ComebackCauses.needs,
    "first-pass yield": OF_MEASURE["first_pass_yield"],
    "risky steps": StepRisk.needs,
    "order of the steps": Conformance.needs,
    "battery safety": BatteryBreaches.needs,
    "results of tests": DiagnosticOutcomes.needs,
    "faults that tests miss": Escapes.needs,
    "drift of stations": StationDrift.needs,
    "rework": ReworkRoutes.needs,
    "bad lots": Lots.needs,
    "people beside each other": (*OF_GROUPING["technician"], *SEEN),
    "benches beside each other": (*OF_GROUPING["bench"], *OF_MEASURE["first_pass_yield"]),
    "booked labour": OF_MEASURE["labour_minutes"],
    "cost of come-backs": ComebackCosts.needs,
    "warranty and paid work": (*OF_GROUPING["billing"], *SEEN),
    "goals": Targets.needs,
}
"""What is asked most, each with the grounds of its answer."""
ONE_OF = {"cost of come-backs": ("labour_minutes", "parts_cost", "freight_cost")}
"""Grounds of which one is enough."""
MOST_WORDS = 3
FEW = 0.01
"""Share of the rows of a column, or of a log, below which they are few."""
NEEDED = ("disposition", "outcome", "phase")


def outlook(store: Store, seen: Seen, mapping: Mapping, *, text: str = "") -> Seen:
    """What is seen, with what can be told and the next line; `text` is that of the mapping, if it stands in a file."""
    there = grounds(snapshot_at(store, None))
    topics = tuple(_topic(name, needs, there) for name, needs in TOPICS.items())
    words, few_words = _lost_words(seen)
    form, few_ids = _best_form(seen)
    said = [words_line(words), forms_line(form, mapping)]
    # What concerns few rows comes after what lets more be told.
    first = [line for line, few in zip(said, (few_words, few_ids), strict=True) if line and not few]
    line = next(filter(None, [missing_line(mapping, text), *first, _ground_line(there), *said]), "")
    return replace(seen, topics=topics, next_line=line)


def _topic(name: str, needs: Sequence[str], there: Grounds) -> SeenTopic:
    either = there.lacking(*ONE_OF.get(name, ()))
    absent = (*there.lacking(*needs), *(either if len(either) == len(ONE_OF.get(name, ())) else ()))
    when = {"window": WINDOW, "when": "so far"}
    return SeenTopic(name, listed([g.lacking.format(**when) for g in absent]) if absent else "",
                     tuple(g.name for g in absent))


Lost = tuple[str, str, str, tuple[tuple[str, int], ...]]
"""A column of codes (place, name, origin) with the words that have none, and the rows of each."""


def _lost_words(seen: Seen) -> tuple[Lost | None, bool]:
    """The needed column of which most rows have a word without a code, and whether they are few."""
    lost: dict[tuple[str, str, str], list[tuple[str, int]]] = {}
    for w in seen.words:
        if not w.code and w.word and w.column in NEEDED:
            lost.setdefault((w.place, w.column, w.origin), []).append((w.word, w.rows))
    if not lost:
        return None, True
    (place, column, origin), words = max(lost.items(), key=lambda kept: sum(n for _, n in kept[1]))
    rows = sum(n for _, n in words)
    return (place, column, origin, tuple(words)), rows < FEW * sum(
        w.rows for w in seen.words if (w.place, w.column) == (place, column)
    )


def _best_form(seen: Seen) -> tuple[SeenForm | None, bool]:
    """The change of form that links most rows, and whether they are few."""
    found = max(seen.forms, key=lambda f: f.rows, default=None)
    whole = {link.table: link.rows for link in seen.links}
    return found, found is None or found.rows < FEW * whole.get(found.table, 0)


def missing_line(mapping: Mapping, text: str) -> str:
    """The line without which a whole table is not loaded: that of a block behind #, or a table of jobs; jobs first."""
    there, fed = {e.table for e in mapping.table}, {(e.table, e.from_) for e in mapping.table}
    blocks = [b for b in blocks_left_out(text) if (b.table, b.source) not in fed]
    block = min(blocks, key=lambda b: b.table != "jobs", default=None)
    if "jobs" not in there and (block is None or block.table != "jobs"):
        return f'a [[table]] with table = "jobs" ({TABLES["jobs"].row} a row). Without it no row of a log has its job.'
    if block is None:
        return ""
    place = f'the [[table]] of {block.table} from "{block.source}", which stands behind # in {MAPPING_FILE}'
    other = "" if block.table == "jobs" else ", or delete the block"
    how = f"take the first # off each line of that block{other}. Until then none of its rows is loaded."
    if not block.unfilled:
        return f"{place}: it is filled in, so {how}"
    wanted = " and ".join(f'{name} = "…"' + (f" ({could})" if could else "") for name, could in block.unfilled.items())
    return f"{wanted} in {place}. Fill it in, and {how}"


def words_line(lost: Lost | None) -> str:
    """The line that gives words their codes."""
    if lost is None:
        return ""
    place, column, origin, words = lost
    shown = ", ".join(f'{toml(word)} = "…"' for word, _ in words[:MOST_WORDS])
    more = f" and {len(words) - MOST_WORDS} more" if len(words) > MOST_WORDS else ""
    rows = counted(sum(n for _, n in words), "row has", "rows have")
    allowed = TABLES[place.partition("(")[2].rstrip(")")].column(column).allowed
    return (f"{place}: add to values of {column} (from {origin}): {shown}{more}. "
            f"{rows} a word without a code. A code is one of {', '.join(allowed)}.")


def forms_line(form: SeenForm | None, mapping: Mapping) -> str:
    """The line or lines that make the ids of a log those of the jobs."""
    if form is None:
        return ""
    return (f"{form_said(form)}. Write {' and '.join(form_lines(form, mapping))}; "
            f"then {counted(form.rows, 'more row', 'more rows')} of {form.table} will have a job.")


def form_said(form: SeenForm) -> str:
    """In what the ids of a log differ from those of the jobs."""
    return (f"{counted(form.ids, 'id')} of {form.table} and of jobs differ only in form "
            f"({form.example} and {form.job_example}: {form.what})")


def form_lines(form: SeenForm, mapping: Mapping) -> list[str]:
    """The lines of the mapping that make them alike, each with its place."""
    tables = [form.table] * form.of_log + ["jobs"] * form.of_jobs
    found = []
    for number, entry in enumerate(mapping.table, 1):
        if entry.table in tables:
            found.append(f"{_job_id(entry, form.pattern)} in table.{number} ({entry.table})")
    return found


def _job_id(entry: TableSpec, pattern: str) -> str:
    """The line of `job_id` with one more thing that is left out of it."""
    origin = entry.columns.get("job_id")
    if origin is not None and origin.sql is not None and not origin.join:
        return f"replace = {toml([*map(list, origin.replace), [pattern, '']])} at job_id"
    given: dict[str, object] = {"column": "job_id"}
    if origin is not None:
        given = {"join": origin.join} if origin.join else {"column": origin.column}
        given |= {"values": origin.values} if origin.values else {}
    before = [] if origin is None else [list(pair) for pair in origin.replace]
    return f"job_id = {toml(given | {'replace': [*before, [pattern, '']]})}"


def _ground_line(there: Grounds) -> str:
    """The table or column without which most cannot be told."""
    lacking = {name: there.lacking(*needs) for name, needs in TOPICS.items()}
    absent = {g.name: g for of_topic in lacking.values() for g in of_topic if g.adds or g.maps}
    if not absent:
        return ""
    gains = {}
    for name in absent:
        more = replace(there, present=there.present | _with(name))
        told = [t for t, of_topic in lacking.items() if of_topic and not more.lacking(*TOPICS[t])]
        part = sum(1 / len(of_topic) for of_topic in lacking.values() if name in {g.name for g in of_topic})
        gains[name] = (len(told), part, told)
    order = list(GROUNDS)
    best = max(gains, key=lambda name: (gains[name][0], gains[name][1], -order.index(name)))
    told = gains[best][2]
    then = f" Then these can be told, too: {listed(told)}." if told else ""
    return f"{_line(absent[best])}.{then}"


def _with(name: str) -> frozenset[str]:
    """A ground and those that only it is in the way of, as far as a mapping gives them."""
    found = {name} | ({"logs"} if name in ("steps", "diagnostics") else set())
    while more := {g.name for g in GROUNDS.values() if g.beside in found and g.name not in found and not g.after}:
        found |= more
    return frozenset(found)


def _line(ground: Ground) -> str:
    if ground.maps:
        table, column = ground.maps
        return f'{column} = "…" under [table.columns] of the [[table]] with table = "{table}"'
    return f'a [[table]] with table = "{ground.adds}" ({TABLES[ground.adds].row} a row)'
