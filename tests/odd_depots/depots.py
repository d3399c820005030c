"""The table of odd depots: what the healthy workshop becomes when a part of it is missing, or all of it is alike.

One case per table of the contract and one per optional column of it, so that a new column is a new case; then depots
that are short, young, old, empty, uniform or lopsided. Each is a workspace of CSV files with a mapping.
"""

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

from rqa.contract import TABLES
from tests.odd_depots.workshop import SITES, Row, Tables, healthy

Change = Callable[[Tables], Tables]
BOOKED = ("steps", "diagnostics", "parts")
"""Tables whose rows belong to a job."""
AGES = ("opened_at", "closed_at", "started_at", "ended_at", "run_at", "retired_at")


@dataclass(frozen=True)
class OddDepot:
    """A depot with a part missing: how it comes from the healthy one, and what nobody mapped."""

    change: Change
    absent: tuple[str, ...] = ()
    """Tables, and columns as `table.column`."""


def _table_absent(table: str) -> Change:
    return lambda tables: {name: rows for name, rows in tables.items() if name != table}


def _column_absent(table: str, column: str) -> Change:
    def change(tables: Tables) -> Tables:
        rows = [{name: value for name, value in row.items() if name != column} for row in tables[table]]
        return tables | {table: rows}

    return change


def _jobs_kept(keep: Callable[[Row], bool]) -> Change:
    def change(tables: Tables) -> Tables:
        jobs = [row for row in tables["jobs"] if keep(row)]
        ids = {row["job_id"] for row in jobs}
        booked = {name: [row for row in tables[name] if row["job_id"] in ids] for name in BOOKED}
        return tables | {"jobs": jobs} | booked

    return change


def _jobs_changed(changed: Callable[[int, Row], Row]) -> Change:
    return lambda tables: tables | {"jobs": [row | changed(n, row) for n, row in enumerate(tables["jobs"])]}


def _site_without(table: str, column: str = "") -> Change:
    """The second site's system writes no rows of a table, or leaves a column of it empty."""

    def change(tables: Tables) -> Tables:
        ids = {row["job_id"] for row in tables["jobs"] if row["site"] == tuple(SITES)[1]}
        others = [row for row in tables[table] if row["job_id"] not in ids]
        emptied = [row | {column: ""} if row["job_id"] in ids else row for row in tables[table]]
        return tables | {table: emptied if column else others}

    return change


def _only(*names: str) -> Change:
    return lambda tables: {name: tables[name] for name in names}


def _outcomes(outcome: str) -> Change:
    """Every check and every test ends alike; what was done or skipped unchecked stays so."""

    def change(tables: Tables) -> Tables:
        steps = [row | {"outcome": outcome} if row["outcome"] in ("pass", "fail") else row for row in tables["steps"]]
        tests = [row | {"outcome": outcome} for row in tables["diagnostics"]]
        return tables | {"steps": steps, "diagnostics": tests}

    return change


def _older(days: int) -> Change:
    def change(tables: Tables) -> Tables:
        def moved(row: Row) -> Row:
            return row | {name: _earlier(row[name], days) for name in AGES if row.get(name)}

        return {name: [moved(row) for row in rows] for name, rows in tables.items()}

    return change


def _earlier(text: str, days: int) -> str:
    return (datetime.fromisoformat(text) - timedelta(days=days)).isoformat(sep=" ")


def _open(tables: Tables) -> Tables:
    return _jobs_changed(lambda n, row: {"disposition": "open", "closed_at": ""})(tables)


def _lopsided(tables: Tables) -> Tables:
    large, small = SITES
    return _jobs_changed(lambda n, row: {"site": small if n == 40 else large})(tables)


HOSTILE = "\x1b[31m\x07\u202e<b>&{0}%s %;=,'\""
"""What a name may hold: signs that steer a terminal or turn a line, and those of markup, formats and scopes."""
NAMED = ("site", "model", "procedure", "step", "must_follow", "technician", "bench", "tool", "test", "station",
         "part_no", "requires_part_no", "lot", "fault", "appraiser", "study", "what", "owner")
IN_LISTS = "\x1b\u202e<b>&{0}%s"
PLAINLY = ("complaint", "found", "subsystem")
"""Names that also stand in lists: of the signs above, those that do not end an entry."""


def _hostile_names(tables: Tables) -> Tables:
    def renamed(row: Row) -> Row:
        changed = {name: f"{row[name][0]}{HOSTILE}{row[name][1:]}" for name in NAMED if row.get(name)}
        return row | changed | {name: row[name] + IN_LISTS for name in PLAINLY if row.get(name)}

    made = {table: [renamed(row) for row in rows] for table, rows in tables.items()}
    for row in made["procedures"]:
        row["subsystems"] = ";".join(word + IN_LISTS for word in row["subsystems"].split(";"))
    for row in made["actions"]:
        row["scope"] = f"bench={HOSTILE}"
    return made


SHAPES: dict[str, OddDepot] = {
    "healthy": OddDepot(lambda tables: tables),
    "unfinished month": OddDepot(_jobs_kept(lambda row: row["opened_at"] < "2025-09-12")),
    "one month": OddDepot(_jobs_kept(lambda row: row["opened_at"][:7] == "2025-03")),
    "one site": OddDepot(_jobs_kept(lambda row: row["site"] == next(iter(SITES)))),
    "jobs only": OddDepot(_only("jobs"), tuple(name for name in TABLES if name != "jobs")),
    "jobs and steps": OddDepot(_only("jobs", "steps"), tuple(n for n in TABLES if n not in ("jobs", "steps"))),
    "no unit twice": OddDepot(_jobs_changed(lambda n, row: {"unit_id": f"X{n}"})),
    "everything open": OddDepot(_open),
    "all pass": OddDepot(_outcomes("pass")),
    "all fail": OddDepot(_outcomes("fail")),
    "data ending years ago": OddDepot(_older(9 * 365)),
    "one site with one job": OddDepot(_lopsided),
    "one site without found": OddDepot(_site_without("jobs", "found")),
    "one site without a step log": OddDepot(_site_without("steps")),
    "one site without diagnostics": OddDepot(_site_without("diagnostics")),
    "no jobs": OddDepot(_jobs_kept(lambda row: False)),
    "one job": OddDepot(_jobs_kept(lambda row: row["job_id"].startswith("OT-0001"))),
    "hostile names": OddDepot(_hostile_names),
    "nothing at all": OddDepot(lambda tables: {"jobs": []}, tuple(name for name in TABLES if name != "jobs")),
}
WITHOUT_TABLE = {f"no {name}": OddDepot(_table_absent(name), (name,)) for name in TABLES}
WITHOUT_COLUMN = {
    f"no {table.name}.{column.name}": OddDepot(
        _column_absent(table.name, column.name), (f"{table.name}.{column.name}",)
    )
    for table in TABLES.values()
    for column in table.columns
    if not column.required or column.numbered
}
ODD_DEPOTS: dict[str, OddDepot] = {**SHAPES, **WITHOUT_TABLE, **WITHOUT_COLUMN}


@cache
def _healthy() -> Tables:
    return healthy()


def write_workspace(name: str, folder: Path) -> Path:
    """The workspace of one odd depot: its files and their mapping."""
    tables = ODD_DEPOTS[name].change({table: list(rows) for table, rows in _healthy().items()})
    zones = "".join(f'[sites.{_quoted(site)}]\nzone = "{zone}"\n' for site, zone in SITES.items())
    mapping = ['[workspace]\ntitle = "Fauteuils, été"\ncurrency = "EUR"\nzone = "Europe/Paris"\n', zones]
    for table, rows in tables.items():
        (folder / f"{table}.csv").write_text(_csv(table, rows), encoding="utf-8")
        mapping.append(f'[files.{table}]\npath = "{table}.csv"\n[[table]]\ntable = "{table}"\nfrom = "{table}"\n')
    (folder / "sources.toml").write_text("\n".join(mapping), encoding="utf-8")
    return folder


def _csv(table: str, rows: list[Row]) -> str:
    names = list(rows[0]) if rows else list(TABLES[table].names)
    text = io.StringIO()
    writer = csv.DictWriter(text, names)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '\\"') + '"'
