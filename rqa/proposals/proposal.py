"""A mapping proposed for a folder of logs: what is in it, what each column most likely is, and what is left open."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from rqa.contract import TABLES
from rqa.errors import RqaError
from rqa.intake.names import quoted
from rqa.intake.values import ParseOptions
from rqa.progress import Progress, Stage, silent
from rqa.proposals.columns import TIME, Facts, facts_of
from rqa.proposals.found import FolderFound, Group, files_in, look_through
from rqa.proposals.id_forms import with_one_form
from rqa.proposals.layouts import Layout
from rqa.proposals.matching import LOGS, Matched, matched, of_entries, of_standard, with_ids
from rqa.proposals.structure import completed, with_names_of_work
from rqa.proposals.unknown_words import check_sheet, may_be_check_sheet
from rqa.proposals.wide import EventLog, WideTable, event_log, wide_tables
from rqa.store.looked import Looked, looking
from rqa.words import percent

MOST_BYTES = 1 << 30
"""Bytes of one set that are read; of a larger one files from all over it."""
SHARED, BY_OTHERS = 0.9, 0.9
"""Share of a log's values that are ids of the jobs, from which on the jobs' column is that sure to be their id."""
ORDER_CLEAR = 0.98
"""Share of rows in order of time below which one reading of day and month is taken for wrong."""


@dataclass(frozen=True)
class SetProposal:
    """What one set of files is proposed to be: its columns' facts, the table it feeds, how its texts are read.

    `settings` are those of `[files.…]` that come from its columns, each with why; `open_settings` those that cannot be
    told, with what could stand there.
    """

    group: Group
    facts: Mapping[str, Facts]
    match: Matched | None
    rows: int
    settings: dict[str, tuple[object, str]] = field(default_factory=dict)
    open_settings: dict[str, tuple[object, str]] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()
    split: dict[str, tuple[str, str]] = field(default_factory=dict)
    """Times in two columns: the column of the contract, and those of day and clock."""
    wide: tuple[WideTable, ...] = ()
    events: EventLog | None = None
    key_file: str = ""
    """The file with the key of pseudonyms, where the mapping that this is added to has one."""


@dataclass(frozen=True)
class Proposed:
    """All that is proposed for a folder."""

    folder: Path
    sets: tuple[SetProposal, ...]
    not_read: Mapping[str, str]
    files: int
    partly: tuple[str, ...] = ()
    """Sets of which not all files were read."""


def proposed(folder: Path, *, progress: Progress = silent) -> Proposed:
    """Look through a folder and work out a mapping; nothing is written."""
    paths = files_in(folder)
    with looking(paths) as looked:
        found = look_through(folder, paths, looked, progress)
        return sets_proposed(folder, found, found.groups, looked, len(paths), progress=progress)


def sets_proposed(
    folder: Path, found: FolderFound, groups: Sequence[Group], looked: Looked, files: int, *,
    taken: Collection[str] = (), progress: Progress = silent,
) -> Proposed:
    """Work out what sets of files are; the names `taken` are those of other sets."""
    made, not_read, partly = _sets(found, [_renamed(g, taken) for g in groups], looked, progress)
    return Proposed(folder, tuple(_with_job_ids(made, looked)), not_read, files, partly)


def _renamed(group: Group, taken: Collection[str]) -> Group:
    name, number = group.name, 2
    while name in taken:
        name, number = f"{group.name}_{number}", number + 1
    return replace(group, name=name)


def _sets(
    found: FolderFound, groups: Sequence[Group], looked: Looked, progress: Progress
) -> tuple[list[SetProposal], dict[str, str], tuple[str, ...]]:
    not_read, made, partly = dict(found.not_read), [], []
    for number, group in enumerate(groups):
        progress(Stage(f"reading {group.labels[0]}", number, len(groups), 1))
        of_group = dict(zip(dict.fromkeys(one.path for one in group.layouts), group.labels, strict=True))
        chosen = _within_bytes(group.layouts)
        if len(chosen) < len(group.layouts):
            partly.append(group.name)
        for one in chosen:
            label = of_group[one.path]
            settings = group.first.settings | ({} if one.ascii_only else one.settings)
            try:
                looked.take(replace(one, settings=settings).source(group.name, label), group.nested)
            except RqaError as error:
                said = str(error).removeprefix(f"{label}: ").removesuffix(" Nothing was loaded.")
                not_read[f"{label}, {one.part}" if one.part else label] = said
        if group.name not in looked.columns:
            continue
        facts = facts_of(group, looked)
        hints = group.name.replace("_", " ")
        rows_of = group.first.settings.get("rows_of")
        if group.first.format == "xes":
            match = of_standard(facts)
        else:
            match = matched(facts, hints) if rows_of is None else of_entries(facts, hints, rows_of)
        if match is not None:
            match = completed(match, facts, group.name, looked)
        wide = wide_tables(match, facts, group.name, looked)
        # A check sheet is no log with a row for each check: its columns are the checks.
        match = match if match is None or match.table == "jobs" or not wide else None
        read = SetProposal(group, facts, match, looked.rows.get(group.name, 0), wide=wide)
        made.append(_read_as(read, looked))
    return made, not_read, tuple(partly)


def _within_bytes(layouts: Sequence[Layout]) -> Sequence[Layout]:
    """The files of a set that are read: all, or every so many-th of a set that is too large."""
    sizes = [one.path.stat().st_size * (8 if one.path.suffix == ".gz" else 1) for one in layouts]
    if sum(sizes) <= MOST_BYTES or len(layouts) == 1:
        return layouts
    stride = -(-sum(sizes) // MOST_BYTES)
    return layouts[::stride]


def _with_job_ids(made: list[SetProposal], looked: Looked) -> list[SetProposal]:
    """The proposals with what shared values tell of the job ids of logs."""
    jobs = [(s, s.match.guesses["job_id"]) for s in made
            if s.match and s.match.table == "jobs" and "job_id" in s.match.guesses]
    shared: dict[tuple[str, str, str], float] = {}
    for one in made:
        logs = one.match is not None and one.match.table in LOGS[1:]
        if not logs and (one.wide or not may_be_check_sheet(one.match, one.facts)):
            continue
        for other, guess in jobs:
            for column, facts in one.facts.items():
                if facts.given and facts.times is None and not facts.clock and facts.distinct > 1 and (
                    facts.distinct <= 3 * other.facts[guess.source].distinct
                ):
                    shared[one.group.name, column, other.group.name] = looked.shared(
                        one.group.name, column, other.group.name, guess.source
                    )
    best = _added_up(shared)
    made = [_as_check_sheet(_known_by_others(s, best), best, looked) for s in made]
    matches = with_ids({s.group.name: (s.match, s.facts) for s in made if s.match}, best)
    made = [replace(s, match=matches.get(s.group.name, s.match)) for s in made]
    matches = with_one_form({s.group.name: (s.match, s.facts) for s in made if s.match}, looked)
    made = [replace(s, match=matches.get(s.group.name, s.match)) for s in made]
    made = [replace(s, match=with_names_of_work(s.match, s.facts)) if s.match else s for s in made]
    return [replace(s, events=event_log(s.match, s.facts)) for s in made]


def _as_check_sheet(one: SetProposal, shared: Mapping[tuple[str, str, str], float], looked: Looked) -> SetProposal:
    """A set whose columns share a few words, taken for a check sheet; any other as it is."""
    ids = {c: share for (s, c, _), share in shared.items() if s == one.group.name}
    sheet = None if one.wide else check_sheet(one.match, one.facts, ids)
    if sheet is None:
        return one
    made = _read_as(SetProposal(one.group, one.facts, None, one.rows, wide=(sheet,)), looked)
    where = [c for c in sheet.columns if one.facts[c].missing]
    words = sorted({m for c in where for m in one.facts[c].missing})
    if words:
        made.settings["missing"] = (words, "in " + ", ".join(repr(c) for c in where[:4]))
    return made


def _known_by_others(one: SetProposal, shared: Mapping[tuple[str, str, str], float]) -> SetProposal:
    """A set of jobs, its job id surer where the values of another set's column are its ids."""
    found = [(share, s, c) for (s, c, jobs), share in shared.items() if jobs == one.group.name and share >= SHARED]
    if not found or one.match is None:
        return one
    _, name, column = max(found)
    guess = one.match.guesses["job_id"]
    said = f"those in {column!r} of {name} are among its values"
    better = replace(guess, sure=max(guess.sure, BY_OTHERS), evidence=(*guess.evidence, said), doubts=())
    return replace(one, match=replace(one.match, guesses=one.match.guesses | {"job_id": better}))


def _added_up(shared: Mapping[tuple[str, str, str], float]) -> dict[tuple[str, str, str], float]:
    """Shares by set and column: a log may draw on the jobs of several sets."""
    made: dict[tuple[str, str, str], float] = {}
    for (name, column, other), share in shared.items():
        made[name, column, other] = share
    for name, column in {(n, c) for n, c, _ in shared}:
        whole = min(1.0, sum(v for (n, c, _), v in shared.items() if (n, c) == (name, column)))
        for key in [k for k in made if k[:2] == (name, column)]:
            made[key] = whole
    return made


def _read_as(made: SetProposal, looked: Looked) -> SetProposal:
    """The proposal with the settings that its columns ask for: times, decimal and thousands marks, missing texts."""
    if made.match is None and not made.wide:
        return made
    match = made.match or Matched(made.wide[0].table, {}, {}, 0.0)
    table = TABLES[match.table]
    used = [(g.target, made.facts[g.source]) for g in match.guesses.values()]
    timed = {t: f for t, f in used if table.column(t).kind in ("time", "date", "month") and f.times is not None}
    for one in made.wide:
        others = [*one.columns.values(), *(c for c, _ in one.given.values() if isinstance(c, str))]
        timed |= {f"{one.table} {c}": made.facts[c] for c in others
                  if c in made.facts and made.facts[c].times is not None}
    made = _split_times(made, timed)
    timed |= {t: made.facts[day] for t, (day, _) in made.split.items()}
    settings, open_settings, doubts = dict(made.settings), dict(made.open_settings), list(made.doubts)
    if timed:
        forms, why, left = _formats(made, timed, looked)
        if any(f.epoch and table.column(t).kind == "time" for t, f in used):
            # What is made of such a number is a time in ISO form.
            forms = tuple(dict.fromkeys((*forms, "iso"))) if forms else forms
            left = ([list(dict.fromkeys((*c, "iso"))) for c in left[0]], left[1]) if left else left
        if forms and forms != ("iso",):
            settings["times"] = (list(forms), why)
        if left:
            open_settings["times"] = left
    numbers = [f for t, f in used if table.column(t).kind in ("number", "integer") and f.number >= 0.8]
    if made.group.first.format in ("csv", "jsonl") or any(f.with_unit for f in numbers):
        _marks(numbers, settings, open_settings, doubts)
    words = sorted({m for _, f in used for m in f.missing if _means_missing(f, m, match)})
    if words:
        where = [f.name for _, f in used if set(f.missing) & set(words)]
        settings["missing"] = (words, "in " + ", ".join(repr(w) for w in where[:4]))
    return replace(made, settings=settings, open_settings=open_settings, doubts=tuple(doubts))


def _means_missing(facts: Facts, text: str, match: Matched) -> bool:
    return all(text not in g.values for g in match.guesses.values() if g.source == facts.name)


def _split_times(made: SetProposal, timed: Mapping[str, Facts]) -> SetProposal:
    """Find clock times that stand in a column of their own beside the day."""
    names = list(made.facts)
    split: dict[str, tuple[str, str]] = {}
    for target, facts in timed.items():
        forms = facts.times.readings.day_first if facts.times else ()
        if any("%H" in f or "%I" in f for f in forms) or (
            forms == ("iso",) and not all(len(t) == 10 for t in facts.texts)
        ):
            continue
        at = names.index(facts.name)
        clocks = [made.facts[n] for n in names[at + 1 : at + 2] if made.facts[n].clock]
        if clocks and all(clocks[0].name != c for _, c in split.values()):
            split[target] = (facts.name, clocks[0].name)
    return replace(made, split=split)


def _formats(
    made: SetProposal, timed: Mapping[str, Facts], looked: Looked
) -> tuple[tuple[str, ...], str, tuple[list[list[str]], str] | None]:
    """The time formats of a set, why, and what is left open: two readings where none is right for all columns."""
    forms: dict[str, None] = {}
    why: list[str] = []
    unsure = {t: f for t, f in timed.items() if f.times and f.times.order == "either"}
    told = {t: f for t, f in timed.items() if f.times and f.times.order in ("day", "month")}
    orders = {f.times.order for f in told.values() if f.times}
    for facts in timed.values():
        if facts.times is None or facts.times.order == "either":
            continue
        why += [f"{facts.name}: {facts.times.why}"] if facts.times.why and len(why) < 2 else []
        for form in _with_clock(made, facts, facts.times.formats):
            forms.setdefault(form)
    if len(orders) > 1:
        return (), "", _by_column(made, timed)
    if not unsure:
        return tuple(forms), "; ".join(why), None
    if len(orders) == 1:
        order = next(iter(orders))
        for facts in unsure.values():
            if facts.times:
                read = facts.times.readings.day_first if order == "day" else facts.times.readings.month_first
                for form in _with_clock(made, facts, read):
                    forms.setdefault(form)
        return tuple(forms), "; ".join(why), None
    days: dict[str, None] = {}
    months: dict[str, None] = {}
    for facts in unsure.values():
        if facts.times:
            days |= dict.fromkeys(_with_clock(made, facts, facts.times.readings.day_first))
            months |= dict.fromkeys(_with_clock(made, facts, facts.times.readings.month_first))
    by_order = _by_order_of_time(made, unsure, looked)
    if by_order is not None:
        order, said = by_order
        return tuple(forms | (days if order == "day" else months)), said, None
    left = (
        [list(forms | days), list(forms | months)],
        "cannot be told: every value could have the day or the month first. Take the # off the one that is right",
    )
    return (), "", left


def _by_column(made: SetProposal, timed: Mapping[str, Facts]) -> tuple[list[list[str]], str]:
    """The readings of columns of which some have the day first and some the month: one list would misread values."""
    shown = {order: next(f.name for f in timed.values() if f.times and f.times.order == order)
             for order in ("day", "month")}
    forms: dict[str, list[str]] = {}
    for order in shown:
        found = [form for f in timed.values() if f.times for form in _with_clock(
            made, f, f.times.readings.day_first if order == "day" else f.times.readings.month_first)]
        forms[order] = list(dict.fromkeys(found))
    return [forms["day"], forms["month"]], (
        f"check this: {shown['day']!r} has the day first and {shown['month']!r} the month, and with both a value that "
        "can be either is read wrongly. Take the # off one line, and give the columns of the other order with sql = …"
    )


def _with_clock(made: SetProposal, facts: Facts, forms: tuple[str, ...]) -> list[str]:
    clock = next((c for day, c in made.split.values() if day == facts.name), None)
    if clock is None:
        return list(forms)
    texts = made.facts[clock].texts
    half = any(t[-1:] in "mM" for t in texts)
    seconds = any(t.count(":") == 2 for t in texts)
    form = ("%I:%M" if half else "%H:%M") + (":%S" if seconds else "") + (" %p" if half else "")
    return [f"{'%Y-%m-%d' if f == 'iso' else f} {form}" for f in forms]


def _by_order_of_time(made: SetProposal, unsure: Mapping[str, Facts], looked: Looked) -> tuple[str, str] | None:
    """Which of day and month stands first, where only one reading keeps the times of each row in order."""
    for first, second in (("opened_at", "closed_at"), ("started_at", "ended_at")):
        if first not in unsure or second not in unsure:
            continue
        a, b = unsure[first], unsure[second]
        if a.times is None or b.times is None:
            continue
        shares = {}
        for order in ("day", "month"):
            forms = a.times.readings.day_first if order == "day" else a.times.readings.month_first
            good, both = looked.in_order(
                made.group.name, quoted(a.name), quoted(b.name), TIME, ParseOptions(times=tuple(forms))
            )
            shares[order] = good / both if both else 0.0
        best, other = sorted(shares, key=lambda o: -shares[o])
        if shares[best] >= ORDER_CLEAR and shares[other] < 0.9 and made.rows >= 30:
            right, wrong = percent(shares[best], decimals=0), percent(shares[other], decimals=0)
            return best, (
                f"check this: with the {best} first {right} of the rows have {a.name!r} before {b.name!r}, with the "
                f"{other} first {wrong}"
            )
    return None


def _marks(
    numbers: list[Facts], settings: dict[str, tuple[object, str]], open_settings: dict[str, tuple[object, str]],
    doubts: list[str],
) -> None:
    commas, points = [f for f in numbers if f.decimal == ","], [f for f in numbers if f.decimal == "."]
    if commas:
        shown = ", ".join(repr(f.name) for f in commas[:3])
        settings["decimal"] = (",", f"the numbers of {shown} show it")
        if points:
            doubts.append(
                f"the numbers of {', '.join(repr(f.name) for f in points[:3])} have a point, those of {shown} a comma"
            )
    marks = {f.thousands for f in numbers if f.thousands and f.thousands != ("," if commas else ".")}
    if len(marks) == 1:
        mark = marks.pop()
        shows = next(f.name for f in numbers if f.thousands == mark)
        settings["thousands"] = (mark, f"the numbers of {shows!r} show it")
    elif not commas and not points:
        either = [f for f in numbers if any("," in t for t in f.texts) or any("." in t for t in f.texts)]
        if either:
            open_settings["decimal"] = (
                [",", "."], f"cannot be told: {either[0].name!r} has numbers such as "
                f"{next(t for t in either[0].texts if '.' in t or ',' in t)!r}",
            )
