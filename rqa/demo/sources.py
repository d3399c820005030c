"""`sources.toml` of the messy workspace: how the three sites' exports become the contract's tables."""

from rqa.demo import alder, birch, cedar
from rqa.demo.catalogue import MODELS, SITES
from rqa.demo.reference import REFERENCE

HEAD = """\
# How the three sites' exports become one store. An invented depot; see truth.json for what was planted.

[workspace]
title = "{title}"
currency = "EUR"
labour_rate = 38
zone = "UTC"
models = [{models}]
"""
ALDER_FILES = """\
# Alder: CSV as its spreadsheet program writes it. Later files correct earlier ones, so the corrections come last.

[files.alder_jobs]
path = ["alder/jobs_*.csv", "alder/late_corrections_*.csv"]
{csv}
[files.alder_steps]
path = "alder/steps_*.csv.gz"
{csv}
[files.alder_tests]
path = "alder/tests_*.csv.gz"
{csv}
[files.alder_parts]
path = "alder/parts_*.csv"
{csv}"""
CSV = """\
delimiter = ";"
encoding = "cp1252"
decimal = ","
times = "%d.%m.%Y %H:%M"
zone = "Europe/Lisbon"
"""
BIRCH_FILES = """\
# Birch: a workbook a quarter. Attempts, runs and part lines have no numbers there; they are counted in order of time.
"""
CEDAR_FILES = """\
# Cedar: JSON Lines; "a.b" reaches into objects. Lists are opened by a SELECT.

[files.cedar_jobs]
path = ["cedar/jobs_*.jsonl", "cedar/amended_*.jsonl"]

[files.cedar_steps]
path = "cedar/steps_*.jsonl.gz"

[files.cedar_tests]
path = "cedar/tests_*.jsonl.gz"
"""
CEDAR_COLUMNS = {
    "jobs": {
        "job_id": "ref", "unit_id": "asset.serial", "model": "asset.kind", "procedure": "plan", "opened_at": "in",
        "closed_at": "out", "disposition": "state", "complaint": "case.said", "found": "case.found",
        "technician": "hand", "billing": "payer", "labour_minutes": "cost.minutes", "parts_cost": "cost.pieces",
        "freight_cost": "cost.freight",
    },
    "steps": {
        "job_id": "ref", "step_seq": "n", "attempt": "try", "step": "task", "outcome": "result",
        "technician": "by.hand", "bench": "by.bench", "tool": "by.tool", "started_at": "time.from",
        "ended_at": "time.to", "fault": "fault", "value": "reading",
    },
}
CEDAR_LISTS = '''\
[[table]]
table = "diagnostics"
zone = "Europe/Warsaw"
select = """
select ref as job_id, r->>'test' as test, r->>'run' as run, r->>'result' as outcome, r->>'at' as run_at,
  r->>'station' as station, r->>'reading' as value, r->>'low' as lower_limit, r->>'high' as upper_limit,
  r->>'unit' as unit, source_file, source_row
from (select ref, unnest(from_json(runs, '["json"]')) as r, source_file, source_row from cedar_tests)"""
[table.columns]
{outcome}

[[table]]
table = "parts"
select = """
select ref as job_id, p->>'line' as line, p->>'no' as part_no, p->>'lot' as lot, p->>'qty' as quantity,
  p->>'each' as unit_cost, source_file, source_row
from (select ref, unnest(from_json(pieces, '["json"]')) as p, source_file, source_row from cedar_jobs)"""
'''


def _values(codes: dict[str, str], *, only: tuple[str, ...] = ()) -> str:
    kept = {theirs: ours for ours, theirs in codes.items() if not only or ours in only}
    return "values = { " + ", ".join(f'"{t}" = "{o}"' for t, o in kept.items()) + " }"


STEP_CODES = ("pass", "fail", "done", "skipped")
TEST_CODES = ("pass", "fail", "aborted")


def _table(table: str, files: str, columns: dict[str, str], special: dict[str, str], site: str = "") -> str:
    lines = [f'[[table]]\ntable = "{table}"\nfrom = "{files}"\n[table.columns]']
    if site:
        lines.append(f'site = {{ constant = "{site}" }}')
    for ours, theirs in columns.items():
        extra = special.get(ours)
        lines.append(f'{ours} = {{ column = "{theirs}", {extra} }}' if extra else f'{ours} = "{theirs}"')
    return "\n".join(lines) + "\n"


def _special(site: object, table: str) -> dict[str, str]:
    states, payers, outcomes = site.STATES, site.PAYERS, site.OUTCOMES  # type: ignore[attr-defined]
    if table == "jobs":
        return {"disposition": _values(states), "billing": _values(payers)}
    if table in ("steps", "diagnostics"):
        only = STEP_CODES if table == "steps" else TEST_CODES
        return {"outcome": _values(outcomes, only=only)}
    return {}


def sources(title: str) -> str:
    """The whole mapping file."""
    models = ", ".join(f'"{m}"' for m in MODELS)
    parts = [HEAD.format(title=title, models=models)]
    parts += [f'[sites.{s.name}]\nzone = "{s.zone}"\n' for s in SITES]
    parts.append(ALDER_FILES.format(csv=CSV))
    files = {"jobs": "alder_jobs", "steps": "alder_steps", "diagnostics": "alder_tests", "parts": "alder_parts"}
    for table, columns in alder.COLUMNS.items():
        special = _special(alder, table)
        if table == "diagnostics":
            special["unit"] = _values(alder.UNITS)
        parts.append(_table(table, files[table], columns, special, "Alder" if table == "jobs" else ""))
    parts.append(BIRCH_FILES)
    for table, (sheet, _) in birch.SHEETS.items():
        missing = f'missing = "{birch.MISSING}"\n' if table == "jobs" else ""
        parts.append(
            f'[files.birch_{table}]\npath = "birch/*.xlsx"\nsheet = "{sheet}"\n{missing}zone = "Europe/Helsinki"\n'
        )
    for table, (_, columns) in birch.SHEETS.items():
        special = _special(birch, table)
        if table == "jobs":
            special["unit_id"] = 'replace = [["(?i)^sn\\\\s*", ""]]'
        parts.append(_table(table, f"birch_{table}", columns, special, "Birch" if table == "jobs" else ""))
    parts.append(CEDAR_FILES)
    for table, columns in CEDAR_COLUMNS.items():
        site = "Cedar" if table == "jobs" else ""
        text = _table(table, f"cedar_{table}", columns, _special(cedar, table), site)
        # The days of a step are counted in the site's calendar.
        parts.append(text.replace("[table.columns]", 'zone = "Europe/Warsaw"\n[table.columns]'))
    codes = _values(cedar.OUTCOMES, only=TEST_CODES)
    parts.append(CEDAR_LISTS.format(outcome=f'outcome = {{ column = "outcome", {codes} }}'))
    parts.append("# The reference tables have the contract's own column names.\n")
    for table in (*REFERENCE, "retirements"):
        parts.append(f'[files.{table}]\npath = "reference/{table}.csv"\n')
    for table in (*REFERENCE, "retirements"):
        parts.append(f'[[table]]\ntable = "{table}"\nfrom = "{table}"\n')
    return "\n".join(parts)
