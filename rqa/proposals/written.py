"""The lines of a proposed `sources.toml`: beside each what it rests on, and "check this" at a guess."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass

from rqa.contract import TABLES, Column, Table
from rqa.proposals.columns import Facts
from rqa.proposals.left_out import SAID, TO_FILL, behind_marks, could_be
from rqa.proposals.matching import BY_STANDARD, LOGS, SURE, Guess, Matched
from rqa.proposals.proposal import Proposed, SetProposal
from rqa.proposals.wide import EventLog, WideTable
from rqa.shown import one_line
from rqa.words import counted, listed, percent

WIDE = 118
CHECK = "check this"
PEOPLE = ("technician", "owner", "appraiser")
SAME_FOR_ALL = ("site", "model", "procedure")
"""Required columns for which one value may stand for all rows."""
MOST_TEXTS = 12
ALL_NUMBERS = 0.995
MOST_REFUSED = 0.1
"""Share of rows that may be refused for a text without a code, before a column that is not needed is left out."""
FILLED = 0.9
"""Share of rows with a job id below which an empty one means that of the row above."""
ONCE = 0.95
"""Share of different values among the job ids from which on each may stand for the rows below it."""
BARE = re.compile(r"[a-z][a-z0-9_]*")
MOST_UNUSED = 30


@dataclass(frozen=True)
class Line:
    """One line of a mapping: key and value as TOML; what it rests on, and what speaks against it.

    One that is not `live` is left to be filled, and begins with #.
    """

    key: str
    value: str
    why: str
    mark: str = ""
    live: bool = True
    more: tuple[str, ...] = ()

    def texts(self) -> list[str]:
        """The lines as they are written."""
        said = f"{CHECK}: {'; '.join(filter(None, (self.mark, self.why)))}" if self.mark else self.why
        setting = f"{'' if self.live else '# '}{self.key} = {self.value}"
        comment = one_line(said)
        made = [f"#   {one_line(m)}" for m in self.more]
        if not comment:
            return [*made, setting]
        if len(setting) + len(comment) + 4 <= WIDE:
            return [*made, f"{setting}  # {comment}"]
        return [f"# {comment}", *made, setting]


def toml(value: object) -> str:
    """A value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, dict):
        keys = {str(k): str(k) if BARE.fullmatch(str(k)) else toml(str(k)) for k in value}
        return "{ " + ", ".join(f"{keys[str(k)]} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(toml, value)) + "]"
    return str(value)


def set_lines(one: SetProposal, made: Proposed) -> list[str]:
    """The lines of one set of files, and of the table that it feeds."""
    match = one.match
    group = one.group
    head = f"# {', '.join(group.patterns[:3])}{' …' if len(group.patterns) > 3 else ''}: "
    head += f"{counted(len(group.labels), 'file')}, {counted(one.rows, 'row')}"
    if group.name in made.partly:
        head += " of those that were read, as there are many"
    taken = [t for t in (match.table if match else None, *(w.table for w in one.wide)) if t]
    lines = [f"{one_line(head)}. Taken for {listed(taken)}."]
    lines += files_lines(one)
    if match is not None:
        lines += table_lines(one, match)
    for wide in one.wide:
        lines += wide_lines(one, wide)
    given = used_columns(one)
    unused = [c for c in one.facts if c not in given]
    if unused:
        # A block that is left out ends at an empty line.
        lines += [""] if any(line.startswith(SAID) for line in lines) else []
        shown = ", ".join(repr(c) for c in unused[:MOST_UNUSED])
        more = f" and {len(unused) - MOST_UNUSED} more" if len(unused) > MOST_UNUSED else ""
        lines.append(f"# Columns that are not used: {one_line(shown)}{more}")
    return lines


def used_columns(one: SetProposal) -> set[str]:
    """The columns of a set that something is proposed for."""
    given = {g.source for g in one.match.guesses.values()} if one.match is not None else set()
    given |= {c for pair in one.split.values() for c in pair}
    given |= {c for w in one.wide for c in w.columns.values()}
    given |= {v for w in one.wide for v, _ in w.given.values() if isinstance(v, str)}
    return given | ({one.events.kind} if one.events is not None else set())


def wide_lines(one: SetProposal, wide: WideTable) -> list[str]:
    """The lines of a table that stands in columns of another."""
    shape = {"name": wide.name, "value": wide.value,
             "columns": list(wide.columns) if all(k == v for k, v in wide.columns.items()) else dict(wide.columns)}
    lines = ["", f"# {CHECK}: {one_line(wide.why)}", "[[table]]", f"table = {toml(wide.table)}",
             f"from = {toml(one.group.name)}", f"columns_to_rows = {toml(shape)}", "[table.columns]"]
    for column, (value, doubt) in wide.given.items():
        lines += _unread_lines(wide) if wide.unread and column == wide.value else []
        lines += Line(column, toml(value), "", doubt).texts()
    table = TABLES[wide.table]
    found = {n.lower() for n in (wide.name, wide.value, *wide.given, *one.facts)}
    lacking = [c for c in table.columns
               if c.required and not c.numbered and c.default is None and c.name not in found]
    for needed in lacking:
        could = could_be(needed, table.name, (), one.facts, used_columns(one))
        lines += _to_fill(needed, could).texts()
    return behind_marks(lines, table, [c.name for c in lacking]) if lacking else lines


def _unread_lines(wide: WideTable) -> list[str]:
    """What helps to give codes to words that have none: the words, the codes, and the line to fill in."""
    texts = wide.unread[:MOST_TEXTS]
    outcome, _ = wide.given.get(wide.value, ("", ""))
    known = dict(outcome["values"]) if isinstance(outcome, dict) else {}
    line = f"{{ column = {toml(wide.value)}, values = {toml(known | dict.fromkeys(texts, '…'))} }}"
    codes = TABLES[wide.table].column(wide.value).allowed
    return [f"#   texts without a code: {one_line(', '.join(map(repr, texts)))}", f"#   codes: {', '.join(codes)}",
            f"#   {wide.value} = {one_line(line)}"]


def _to_fill(column: Column, could: str) -> Line:
    """The line of a required column that nothing was found for, with what it could be."""
    said = f"required, and not found: {column.meaning.removesuffix('.')}. {could}".rstrip()
    return Line(column.name, TO_FILL, said, live=False)


def event_lines(one: SetProposal, match: Matched, events: EventLog) -> list[str]:
    """The lines of a log with a row for each event, of which `events` makes attempts."""
    named: dict[str, object] = {
        "case": match.guesses["job_id"].source, "activity": match.guesses["step"].source, "lifecycle": events.kind,
        "time": match.guesses[events.time].source, "start": list(events.start), "end": list(events.end),
    }
    lines = ["",
             f"# {CHECK}: a row is an event, and {events.kind!r} tells starts from ends; each start begins an attempt",
             "[[table]]", 'table = "steps"', f"from = {toml(one.group.name)}", f"events = {toml(named)}",
             "[table.columns]"]
    made = ("job_id", "step", "started_at", "ended_at")
    for line in column_lines(one, match, TABLES["steps"])[0]:
        lines += line.texts() if line.key not in made else []
    return lines


def table_lines(one: SetProposal, match: Matched) -> list[str]:
    """The lines of a `[[table]]` whose rows are those of the files."""
    if one.events is not None:
        return event_lines(one, match, one.events)
    group, table = one.group, TABLES[match.table]
    columns, lacking = column_lines(one, match, table)
    named = Line("table", toml(table.name), "", unsure_said(match, table)).texts()
    body = ["", "[[table]]", *named, f"from = {toml(group.name)}", *fill_lines(one, match),
            "[table.columns]"]
    body += [text for line in columns for text in line.texts()]
    return behind_marks(body, table, lacking) if lacking else body


def unsure_said(match: Matched, table: Table) -> str:
    """What of a table's required columns was not found for sure, so that it may be another; "" where all was.

    Site, model and procedure do not tell a table from another; many exports lack them.
    """
    if table.name not in LOGS or all(g.sure == BY_STANDARD for g in match.guesses.values()):
        return ""
    required = [c.name for c in table.columns if c.required and not c.numbered and c.default is None
                and c.name not in SAME_FOR_ALL]
    unsure = [n for n in required if n not in match.guesses or match.guesses[n].sure < SURE]
    return f"{listed(unsure)} {'was' if len(unsure) == 1 else 'were'} not found for sure" if unsure else ""


def files_lines(one: SetProposal) -> list[str]:
    """The lines of `[files.NAME]`."""
    group = one.group
    paths: object = group.patterns[0] if len(group.patterns) == 1 else list(group.patterns)
    several = len(group.patterns) > 1
    order = "the order is the files' age, and a later row corrects an earlier one" if several else ""
    made = [Line("path", toml(paths), "", mark=order)]
    for key, value in group.first.settings.items():
        made.append(Line(key, toml(value), group.first.why.get(key, "")))
    for key, (value, why) in one.settings.items():
        marked = why.startswith(f"{CHECK}: ")
        said = why.removeprefix(f"{CHECK}: ")
        made.append(Line(key, toml(value), "" if marked else why, said if marked else ""))
    for key, (choices, why) in one.open_settings.items():
        made += [Line(key, toml(c), why if i == 0 else "", live=False) for i, c in enumerate(as_list(choices))]
    texts = [t for line in made for t in line.texts()]
    texts += [f"# {CHECK}: {one_line(d)}" for d in one.doubts]
    return [f"[files.{group.name}]", *texts]


def as_list(choices: object) -> Sequence[object]:
    """The choices of a line that is left open."""
    return choices if isinstance(choices, list) else [choices]


def fill_lines(one: SetProposal, match: Matched) -> list[str]:
    """The line for job ids that stand once for several rows, as merged cells are exported."""
    guess = match.guesses.get("job_id")
    if guess is None or match.table not in LOGS[1:]:
        return []
    facts = one.facts[guess.source]
    # Merged cells give each id once; rows that lack their id stand among others that give theirs again and again.
    if not facts.given or facts.filled > FILLED * facts.rows or facts.unique < ONCE:
        return []
    empty = counted(facts.rows - facts.filled, "row has", "rows have")
    said = f"{empty} no value, so it is taken for that of the row above"
    return Line("fill_down", toml([guess.source]), "", said).texts()


def column_lines(one: SetProposal, match: Matched, table: Table) -> tuple[list[Line], list[str]]:
    """The lines of `[table.columns]`, and the required columns that nothing could be proposed for."""
    lines: list[Line] = []
    lacking: list[str] = []
    for column in table.columns:
        guess = match.guesses.get(column.name)
        if guess is not None:
            lines.append(guess_line(one, column, guess))
            continue
        stand_in = _stand_in(one, match, table, column)
        likely = match.candidates.get(column.name, ())
        could = "could be " + " or ".join(f"{c!r} ({percent(s, decimals=0)})" for c, s in likely) if likely else ""
        if stand_in is not None:
            lines.append(stand_in)
        elif column.required and not column.numbered and column.default is None:
            lacking.append(column.name)
            lines.append(_to_fill(column, could_be(column, table.name, likely, one.facts, used_columns(one))))
        elif likely:
            value = toml(likely[0][0])
            value = _keyed(one, likely[0][0]) if column.name in PEOPLE and one.key_file else value
            lines.append(Line(column.name, value, f"not sure enough: {could}", live=False))
    return lines, lacking


def guess_line(one: SetProposal, column: Column, guess: Guess) -> Line:
    """The line of a column that was found."""
    facts = one.facts[guess.source]
    more: list[str] = []
    marks = list(guess.doubts)
    if guess.sure < SURE:
        marks.insert(0, "a guess")
    value = _value(one, column, guess, facts, marks)
    if guess.guessed:
        marks.append("the meaning of " + ", ".join(f"{t!r} ({guess.values.get(t, t)})" for t in guess.guessed[:6])
                     + " is a guess")
    live = True
    if guess.unread:
        texts = ", ".join(f"{t!r} ({n:,})" for t, n in guess.unread[:MOST_TEXTS])
        rows = sum(n for _, n in guess.unread)
        # A row is refused whole, so a column that is not needed waits for its codes.
        live = column.required or rows <= MOST_REFUSED * facts.given
        if live:
            many = counted(rows, "value is", "values are")
            marks.append(f"{many} refused until each of the texts has a code in values")
        else:
            marks.append(f"left out, as {counted(rows, 'row')} would be refused: give each text a code")
        more += [f"texts without a code: {texts}", f"codes: {', '.join(column.allowed)}"]
        if not guess.values:
            template = {t: "…" for t, _ in guess.unread[:MOST_TEXTS]}
            line = f"{{ column = {toml(guess.source)}, values = {toml(template)} }}"
            value, more = (line, more) if not live else (value, [*more, f"{column.name} = {line}"])
    if facts.times is not None and facts.times.misfit:
        left = facts.given - facts.times.fits
        more.append(f"{counted(left, 'value')} fit no format and will be refused, such as {facts.times.misfit!r}")
    if column.kind in ("number", "integer") and 0 < facts.number < ALL_NUMBERS:
        share = percent(1 - facts.number, decimals=0)
        marks.append(f"{share} of the sample are no numbers, and their rows will be refused")
    why = f"{percent(guess.sure, decimals=0)}: {', '.join(e for e in guess.evidence if e)}"
    return Line(column.name, value, why, "; ".join(marks), live, tuple(more))


def _value(one: SetProposal, column: Column, guess: Guess, facts: Facts, marks: list[str]) -> str:
    """What a line gives for a column, as TOML."""
    if column.name in PEOPLE and one.key_file:
        marks.append("names become pseudonyms, by the key file that the mapping has")
        return _keyed(one, guess.source)
    if column.name in one.split:
        return f"{{ join = {toml(list(one.split[column.name]))} }}"
    name = toml(guess.source)
    if column.kind == "code" and (guess.values or guess.unread):
        return f"{{ column = {name}, values = {toml(guess.values)} }}" if guess.values else name
    if column.kind == "time" and facts.epoch:
        since = "1899-12-30" if facts.epoch == "days" else "1970"
        marks.append(f"the numbers are taken for {facts.epoch} since {since}")
        return f"{{ sql = {toml(_epoch_sql(guess.source, facts.epoch))} }}"
    parts = [f"column = {name}"]
    if guess.replace:
        parts.append(f"replace = {toml(guess.replace)}")
    if column.kind == "number" and facts.with_unit:
        parts.append('replace = [["[^0-9.,+-]+", ""]]')
    if column.unit == "minutes":
        factor = _factor(guess.source)
        if factor:
            parts.append(f"times = {factor}")
    return f"{{ {', '.join(parts)} }}" if len(parts) > 1 else name


def _keyed(one: SetProposal, source: str) -> str:
    return f"{{ column = {toml(source)}, key_file = {toml(one.key_file)} }}"


def _epoch_sql(column: str, unit: str) -> str:
    plain = '"' + column.replace('"', '""') + '"'
    if unit == "days":
        days = f"try_cast(replace({plain}, ',', '.') as double)"
        return f"(timestamp '1899-12-30' + to_seconds(round({days} * 86400)))::varchar"
    factor = " / 1000" if unit == "milliseconds" else ""
    return f"make_timestamp((try_cast({plain} as bigint){factor} * 1000000)::bigint)::varchar || 'Z'"


def _factor(header: str) -> str:
    from rqa.proposals.vocabulary import notions_of

    notions = set().union(*notions_of(header)) if notions_of(header) else set()
    if "hours" in notions and "minutes" not in notions:
        return "60"
    return '"1/60"' if "seconds" in notions and "minutes" not in notions else ""


def _stand_in(one: SetProposal, match: Matched, table: Table, column: Column) -> Line | None:
    """What stands for a required column that the source does not give, to be checked."""
    has = match.guesses
    if column.name == "site" and table.name == "jobs":
        name = site_name(one)
        return Line("site", f"{{ constant = {toml(name)} }}", "", f"no column tells the site; {_where(one)}")
    if table.name == "jobs" and column.name == "job_id" and {"opened_at", "unit_id"} <= set(has):
        opened, unit = has["opened_at"].source, has["unit_id"].source
        sql = f"{_name(unit)} || ' ' || {_name(opened)}"
        return Line("job_id", f"{{ sql = {toml(sql)} }}", "", "no column is a job's number; unit and opening tell it")
    constants = {
        ("jobs", "procedure"): ("repair", "no column names the procedure; all jobs count as one"),
        ("jobs", "model"): ("all models", "no column names the model; all units count as one"),
        ("steps", "outcome"): ("done", "no column tells the outcome; no step counts as checked"),
    }
    if (table.name, column.name) in constants and not match.candidates.get(column.name):
        value, said = constants[table.name, column.name]
        return Line(column.name, f"{{ constant = {toml(value)} }}", "", said)
    if (table.name, column.name) in constants:
        value, said = constants[table.name, column.name]
        likely = " or ".join(f"{c!r} ({percent(s, decimals=0)})" for c, s in match.candidates[column.name])
        return Line(column.name, f"{{ constant = {toml(value)} }}", "", f"not found, it could be {likely}")
    if table.name == "jobs" and column.name == "disposition" and "closed_at" in has:
        sql = f"case when {_name(has['closed_at'].source)} is null then 'open' else 'repaired' end"
        said = "no column tells how a job ended; closed ones count as repaired"
        return Line("disposition", f"{{ sql = {toml(sql)} }}", "", said)
    return None


def _name(column: str) -> str:
    return '"' + column.replace('"', '""') + '"'


def site_name(one: SetProposal) -> str:
    """The name of the site that a folder tells, to be checked."""
    first = one.group.labels[0].split("/")
    return first[0].replace("_", " ").title() if len(first) > 1 else "Main"


def _where(one: SetProposal) -> str:
    return "the folder's name is taken" if "/" in one.group.labels[0] else "give its name"
