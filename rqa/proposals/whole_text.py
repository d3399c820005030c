"""A proposal as the text of a `sources.toml`, with what is left out of it, and the lines that ask to be checked."""

import re
from collections.abc import Iterable

from rqa.contract import TABLES
from rqa.proposals.matching import SURE
from rqa.proposals.proposal import Proposed, SetProposal
from rqa.proposals.written import (
    CHECK,
    MOST_TEXTS,
    PEOPLE,
    column_lines,
    fill_lines,
    set_lines,
    site_name,
    toml,
    unsure_said,
)
from rqa.shown import one_line
from rqa.words import counted, percent

BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
MOST_SITES = 24
"""Sites of which each is offered a zone."""


def mapping_text(made: Proposed) -> str:
    """The whole of a proposed `sources.toml`."""
    used = [s for s in made.sets if s.match is not None or s.wide]
    lines = [
        f"# Proposed by `rqa map` from {counted(made.files, 'file')}. Beside each line stands how sure it is, and why.",
        f'# Below {percent(SURE, decimals=0)}, and where something speaks against it, a line says "{CHECK}".',
        '# Lines that begin with "# name =" are left for you to fill. See \'Map your own logs\' for every setting.',
        "", "[workspace]", f"title = {toml(made.folder.resolve().name)}",
        '# currency = "EUR"  # in which currency costs are given',
    ]
    unzoned = [s for s in used if has_unzoned_times(s)]
    if unzoned:
        lines += [
            "# To fill: the zone of times without an offset. Where sites have different zones, give zone with their",
            "# files, or [sites.NAME] with zone = …; without any they are read as UTC.",
            '# zone = "Europe/Lisbon"',
        ]
        for site in sites_of(made):
            lines += [f"# [sites.{site if BARE_KEY.fullmatch(site) else toml(site)}]", '# zone = "…"']
    if any(g.target in PEOPLE for s in used if s.match for g in s.match.guesses.values()):
        lines += [
            "# Columns of people (technician): with key_file the store holds pseudonyms in place of names. Example:",
            '# technician = { column = "…", key_file = "/a/safe/place/key" }',
        ]
    for one in used:
        lines += ["", *set_lines(one, made)]
    lines += ["", *left_out_lines(made)]
    return "\n".join(lines).rstrip() + "\n"


def sites_of(made: Proposed) -> list[str]:
    """The sites that the jobs name, where there are several and not too many to list."""
    found: dict[str, None] = {}
    for one in made.sets:
        if one.match is not None and one.match.table == "jobs":
            guess = one.match.guesses.get("site")
            facts = one.facts[guess.source] if guess is not None else None
            names = [site_name(one)] if facts is None else [v for v, _ in facts.values if v not in facts.missing]
            found |= dict.fromkeys(names)
    return [one_line(name) for name in found] if 2 <= len(found) <= MOST_SITES else []


def has_unzoned_times(one: SetProposal) -> bool:
    """Whether a set has times that carry no offset."""
    if one.match is None:
        return False
    table = TABLES[one.match.table]
    for guess in one.match.guesses.values():
        facts = one.facts[guess.source]
        if table.column(guess.target).kind == "time" and facts.times is not None and not all(
            t.endswith(("Z", "z")) or (len(t) > 16 and ("+" in t[16:] or "-" in t[16:])) for t in facts.texts
        ):
            return True
    return False


def left_out_lines(made: Proposed) -> list[str]:
    """What of the folder is not in the mapping, and why."""
    lines: list[str] = []
    for one in made.sets:
        if one.match is None and not one.wide:
            columns = ", ".join(repr(c) for c in list(one.facts)[:MOST_TEXTS])
            more = " …" if len(one.facts) > MOST_TEXTS else ""
            what = ", ".join([*one.group.patterns[:3], *([repr(one.group.first.part)] if one.group.first.part else [])])
            lines.append(f"# {one_line(what)}: no table was recognised. Columns: {one_line(columns)}{more}")
    lines += [f"# {one_line(label)}: {one_line(_first_sentence(why))}" for label, why in made.not_read.items()]
    return ["# Not in this mapping:", *lines] if lines else []


def _first_sentence(why: str) -> str:
    return why if len(why) < 300 else f"{why[:300]}…"


def guess_rows(made: Proposed) -> list[tuple[str, str, str, str, str, str]]:
    """Each line of `[table.columns]`: its set, table, column, value, what is to be done with it, and why."""
    found = []
    for one in made.sets:
        if one.match is None:
            continue
        lines, _ = column_lines(one, one.match, TABLES[one.match.table])
        for line in lines:
            to_do = "to fill" if not line.live else CHECK if line.mark else ""
            why = one_line("; ".join(filter(None, (line.mark, line.why))))
            found.append((one.group.name, one.match.table, line.key, one_line(line.value), to_do, why))
    return found


def marked_lines(made: Proposed) -> Iterable[str]:
    """The lines of a proposal that ask to be checked, by their set; the zones of sites first."""
    if any(has_unzoned_times(s) for s in made.sets):
        yield from (f"sites.{site}.zone" for site in sites_of(made))
    for one in made.sets:
        yield from (f"{one.group.name}.{key}" for key in one.open_settings)
        yield from (f"{one.group.name}.{key}" for key, (_, why) in one.settings.items() if why.startswith(CHECK))
        if one.doubts:
            yield f"{one.group.name}.decimal"
        yield from (f"{one.group.name}.{wide.table}" for wide in one.wide)
        if len(one.group.patterns) > 1 and (one.match is not None or one.wide):
            yield f"{one.group.name}.path"
        if one.match is not None:
            if one.events is not None or unsure_said(one.match, TABLES[one.match.table]):
                yield f"{one.group.name}.{one.match.table}"
            if one.events is None and fill_lines(one, one.match):
                yield f"{one.group.name}.fill_down"
            columns, _ = column_lines(one, one.match, TABLES[one.match.table])
            yield from (f"{one.group.name}.{line.key}" for line in columns if line.mark or not line.live)
