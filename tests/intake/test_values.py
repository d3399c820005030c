"""Texts become values exactly, or their row is refused: no time, number, code or id is changed unnoticed."""

from datetime import datetime
from typing import Any

import pytest

from rqa.intake.values import list_entries
from tests.workspaces import Workspace, job

FORMATS = ["%d.%m.%Y %H:%M", "%d/%m/%y", "%d.%m.%Y %H:%M %z", "iso"]
GERMAN = {"decimal": ",", "thousands": "."}
REFUSED_TIME, RANGE = "not a date and time", "outside 1990-01-01 to 2100-01-01"
REFUSED_NUMBER = "not a number"
READINGS: dict[str, dict[str, Any]] = {
    "utc": {},
    "lisbon": {"zone": "Europe/Lisbon"},
    "formats": {"times": FORMATS},
    "german": GERMAN,
    "comma": {"decimal": ","},
    "thousands": {"thousands": ","},
}


def t(text: str) -> datetime:
    return datetime.fromisoformat(text)


CASES: list[tuple[str, str, str, object]] = [
    # (how the file is read, column, text, value or rule broken)
    ("utc", "opened_at", "2024-03-01T10:00:00Z", t("2024-03-01 10:00:00")),
    ("utc", "opened_at", "2024-03-01T10:00:00+02:00", t("2024-03-01 08:00:00")),
    ("utc", "opened_at", "2024-03-01 10:00:00 -0530", t("2024-03-01 15:30:00")),
    ("utc", "opened_at", "2024-03-01 10:00:00+01", t("2024-03-01 09:00:00")),
    ("utc", "opened_at", "2024-03-01 10:00", t("2024-03-01 10:00:00")),
    ("utc", "opened_at", "2024-03-01", t("2024-03-01 00:00:00")),
    ("utc", "opened_at", "2024-03-01 10:00:00.25", t("2024-03-01 10:00:00.250000")),
    ("utc", "opened_at", "2024-02-29", t("2024-02-29 00:00:00")),
    ("utc", "opened_at", "2023-02-29", REFUSED_TIME),
    ("utc", "opened_at", "2024-02-31 10:00:00", REFUSED_TIME),
    ("utc", "opened_at", "31.02.2024 10:00", REFUSED_TIME),
    ("utc", "opened_at", "0001-01-01 00:00:00", RANGE),
    ("utc", "opened_at", "9999-12-31 23:59:59", RANGE),
    ("utc", "opened_at", "9999-12-31T23:59:59Z", RANGE),
    ("utc", "opened_at", "1989-12-31 23:59:59", RANGE),
    ("utc", "opened_at", "2100-01-01 00:00:00", RANGE),
    ("utc", "opened_at", "2024-03-01T24:00:00Z", t("2024-03-02 00:00:00")),
    ("utc", "opened_at", "2024-03-01 24:00:00", t("2024-03-02 00:00:00")),
    ("utc", "opened_at", "2024-03-01 24:00:01", REFUSED_TIME),
    ("utc", "opened_at", "2024-03-01T10:00:0Z", REFUSED_TIME),
    ("utc", "opened_at", "2024-03-01  9:00:00", REFUSED_TIME),
    ("utc", "opened_at", "2024-03-01T 9:00:00Z", REFUSED_TIME),
    ("utc", "opened_at", "-024-03-01 10:00:00", REFUSED_TIME),
    ("utc", "opened_at", "24-03-01 10:00:00", REFUSED_TIME),
    ("utc", "opened_at", "2024-3-1 10:00:00", REFUSED_TIME),
    ("utc", "opened_at", "2024-03-01 25:00:00", REFUSED_TIME),
    ("utc", "opened_at", "2024-03-01 10:00:00+25:00", REFUSED_TIME),
    ("utc", "opened_at", "2024-03-01 10:00:00 CET", REFUSED_TIME),
    ("utc", "opened_at", "2024-03-01 10:00:00 o'clock", REFUSED_TIME),
    ("utc", "opened_at", "20240301", REFUSED_TIME),
    ("utc", "opened_at", "1709287200", REFUSED_TIME),
    ("utc", "opened_at", "45352.5", REFUSED_TIME),
    ("utc", "opened_at", "infinity", REFUSED_TIME),
    ("utc", "opened_at", "epoch", REFUSED_TIME),
    ("utc", "opened_at", "today", REFUSED_TIME),
    ("utc", "closed_at", "2024-02-01 10:00:00", "closed before it was opened"),
    ("utc", "closed_at", "", "closing time missing"),
    ("lisbon", "opened_at", "2024-03-01 10:00:00", t("2024-03-01 10:00:00")),
    ("lisbon", "opened_at", "2023-07-01 10:00:00", t("2023-07-01 09:00:00")),
    ("lisbon", "opened_at", "2023-07-01 10:00:00Z", t("2023-07-01 10:00:00")),
    ("lisbon", "opened_at", "2023-07-01 10:00:00+03:00", t("2023-07-01 07:00:00")),
    ("formats", "opened_at", "03.02.2024 10:15", t("2024-02-03 10:15:00")),
    ("formats", "opened_at", "3.2.2024 9:05", t("2024-02-03 09:05:00")),
    ("formats", "opened_at", "13/02/24", t("2024-02-13 00:00:00")),
    ("formats", "opened_at", "02/13/24", REFUSED_TIME),
    ("formats", "opened_at", "02.13.2024 10:15", REFUSED_TIME),
    ("formats", "opened_at", "03.02.24 10:15", RANGE),
    ("formats", "opened_at", "03.02.2024 10:15 +0200", t("2024-02-03 08:15:00")),
    ("formats", "opened_at", "03.02.2024 10:15 +02:00", t("2024-02-03 08:15:00")),
    ("formats", "opened_at", "2024-02-03 10:15:00Z", t("2024-02-03 10:15:00")),
    ("formats", "opened_at", "31.02.2024 10:15", REFUSED_TIME),
    ("utc", "labour_minutes", "12.5", 12.5),
    ("utc", "labour_minutes", "1e3", 1000.0),
    ("utc", "labour_minutes", ".5", 0.5),
    ("utc", "labour_minutes", "007", 7.0),
    ("utc", "labour_minutes", "+7.", 7.0),
    ("utc", "labour_minutes", "0.1", 0.1),
    ("utc", "labour_minutes", "-1", "below 0"),
    ("utc", "labour_minutes", "-0.0001", "below 0"),
    *(
        ("utc", "labour_minutes", text, REFUSED_NUMBER)
        for text in ("nan", "NaN", "inf", "-Infinity", "1e999", "0x1F", "1_000", "1,5", "1.234,5", "1 000", "½", "٣",
                     "12 min", "--1", "1e", "true", "9" * 400)
    ),
    ("german", "labour_minutes", "1.234,5", 1234.5),
    ("german", "labour_minutes", "1.234.567", 1234567.0),
    ("german", "labour_minutes", "1234,5", 1234.5),
    ("german", "labour_minutes", "12,5", 12.5),
    ("german", "labour_minutes", "12.5", REFUSED_NUMBER),
    ("german", "labour_minutes", "1.23", REFUSED_NUMBER),
    ("german", "labour_minutes", "1.2345", REFUSED_NUMBER),
    ("german", "labour_minutes", "1234.567", REFUSED_NUMBER),
    ("german", "labour_minutes", "1,234.5", REFUSED_NUMBER),
    ("comma", "labour_minutes", "12,5", 12.5),
    ("comma", "labour_minutes", "12.5", REFUSED_NUMBER),
    ("thousands", "labour_minutes", "1,234.5", 1234.5),
    ("thousands", "labour_minutes", "1,5", REFUSED_NUMBER),
    ("utc", "disposition", "REPAIRED", "repaired"),
    ("utc", "disposition", "No_Fault_Found", "no_fault_found"),
    ("utc", "disposition", "fixed", "not one of repaired"),
    ("utc", "billing", "Warranty", "warranty"),
    ("utc", "billing", "free", "not one of warranty"),
    ("utc", "billing", "", None),
    ("utc", "unit_id", "sn 12 a", "SN12A"),
    ("utc", "unit_id", "ü'\"🔧", "Ü'\"🔧"),
    ("utc", "model", "NA", "NA"),
    ("utc", "technician", "=T01", "=T01"),
    ("utc", "complaint", "  ", None),
]


Row = dict[str, Any]


@pytest.fixture(scope="module")
def values(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Row], list[tuple[str, str, str, str | None]]]:
    """One load of all cases: a file for each way of reading, a row for each case."""
    ws = Workspace(tmp_path_factory.mktemp("ws"))
    columns = [*job(), "labour_minutes", "billing", "technician", "complaint"]
    for name in READINGS:
        # A tab between the fields leaves every other mark to the values.
        rows = ["\t".join(columns)]
        for number, (reading, column, text, _) in enumerate(CASES):
            plain = "2024-12-31 00:00:00" if column == "opened_at" else "2024-03-02 10:00:00"
            given = dict.fromkeys(columns, "") | job(f"C{number}", closed_at=plain) | {column: text}
            rows += ["\t".join(given.values())] * (reading == name)
        ws.write(f"{name}.csv", "\n".join(rows).replace('"', '""').replace('ü\'""🔧', '"ü\'""🔧"'))
    ws.load(
        {
            "files": {n: {"path": f"{n}.csv", "delimiter": "\t", **r} for n, r in READINGS.items()},
            "table": [{"table": "jobs", "from": n} for n in READINGS],
        }
    )
    names = [name for (name,) in ws.rows("select column_name from (describe jobs)")]
    stored = [dict(zip(names, row, strict=True)) for row in ws.rows("from jobs")]
    refused = ws.rows("select raw->>'job_id', column_name, rule, value from refused")
    return {row["job_id"]: row for row in stored}, refused


@pytest.mark.parametrize(
    ("number", "reading", "column", "text", "expected"),
    [(n, *c) for n, c in enumerate(CASES)],
    ids=[f"{c[0]}-{c[1]}-{c[2][:30]}" for c in CASES],
)
def test_text_becomes_its_value_or_is_refused(
    values: tuple[dict[str, Row], list[tuple[str, str, str, str | None]]],
    number: int,
    reading: str,
    column: str,
    text: str,
    expected: object,
) -> None:
    stored = values[0].get(f"C{number}")
    refused = [(c, rule, value) for job_id, c, rule, value in values[1] if job_id == f"C{number}"]
    rules = (REFUSED_TIME, RANGE, REFUSED_NUMBER, "below", "closed", "closing", "not one of")
    if isinstance(expected, str) and expected.startswith(rules):
        assert stored is None
        assert (column, True, text or None) in [(c, rule.startswith(expected), value) for c, rule, value in refused]
    else:
        assert refused == []
        assert stored is not None
        assert stored[column] == expected


def test_whole_numbers(ws: Workspace) -> None:
    texts = {
        "3": 3, "3.0": 3, "007": 7, "+4": 4, "9223372036854775807": 2**63 - 1,
        "3.7": None, "1e3": None, "9223372036854775808": None, "1_000": None, "0x1F": None, "true": None, "1,000": None,
        "-1": None, "three": None,
    }
    lines = ["job_id;line;part_no", *(f"J{i};{text};P" for i, text in enumerate(texts))]
    ws.write("parts.csv", "\n".join(lines))
    report = ws.load({"files": {"p": {"path": "parts.csv"}}, "table": [{"table": "parts", "from": "p"}]})
    stored = dict(ws.rows("select job_id, line from parts"))
    assert [stored.get(f"J{i}") for i in range(len(texts))] == list(texts.values())
    rules = {row: rule for row, _, rule, _ in ws.refused()}
    assert len(rules) == report.total("refused") == 9
    assert {r for row, r in rules.items() if row not in (14,)} == {"not a whole number"}
    assert rules[14] == "below 0"


def test_flags_lists_days_and_months(ws: Workspace) -> None:
    ws.write(
        "procedures.csv",
        "procedure,step_seq,step,phase,subsystems,hazards,hold_point,irreversible,opportunities\n"
        'p,1,a,Open,"motor cable; board|latch,board",esd;pinch,yes,0,\n'
        "p,2,b,fit,,,,TRUE,4\n"
        "p,3,c,fit,,acid,maybe,,0\n",
    )
    ws.write(
        "actions.csv", "action_id,what,started_on,scope,closed_on\nA,x,2024-03-01,s,2024-02-01\nB,x,2024-03-01,s,\n"
    )
    ws.write("targets.csv", "measure,from_month,value\nm,2024-03,1\nn,2024-03-17,2\no,2024-13,3\n")
    names = ("procedures", "actions", "targets")
    ws.load({"files": {n: {"path": f"{n}.csv"} for n in names}, "table": [{"table": n, "from": n} for n in names]})
    assert ws.rows("select * exclude (source_file, source_row, procedure) from procedures order by step_seq") == [
        (1, "a", "open", ["board", "latch", "motor cable"], ["esd", "pinch"], 1, True, False, None),
        (2, "b", "fit", None, None, 4, False, True, None),
    ]
    assert ws.rows("select action_id from actions") == [("B",)]
    assert [str(m) for (m,) in ws.rows("select from_month from targets order by 1")] == ["2024-03-01", "2024-03-01"]
    assert {(c, v) for _, c, _, v in ws.refused()} == {
        ("hazards", "acid"), ("hold_point", "maybe"), ("opportunities", "0"), ("closed_on", "2024-02-01"),
        ("from_month", "2024-13"),
    }


def test_sql_constants_values_and_patterns(ws: Workspace) -> None:
    ws.write(
        "log.csv",
        "Nr;SN;Erg;Std;Betrag\n1;SN-0042 x;OK;1,5;1.250,40\n2;SN-0043;nff;2;10\n3;SN-7;weg;1;1\n;;;;\n",
    )
    ws.load(
        {
            "files": {"log": {"path": "log.csv", **GERMAN}},
            "table": [
                {
                    "table": "jobs",
                    "from": "log",
                    "where": '"Nr" is not null',
                    "columns": {
                        "job_id": {"sql": "'A-' || \"Nr\""},
                        "unit_id": {"column": "SN", "replace": [["^SN-0*", ""]]},
                        "model": {"constant": "Quern"},
                        "site": {"constant": "Alder"},
                        "procedure": {"constant": 12},
                        "opened_at": {"constant": "2024-03-01"},
                        "closed_at": {"sql": "timestamp '2024-03-02 10:00:00.5'"},
                        "disposition": {"column": "Erg", "values": {"OK": "repaired", "nff": "no_fault_found"}},
                        "labour_minutes": {"sql": "replace(\"Std\", ',', '.')::double * 60.5"},
                        "parts_cost": "Betrag",
                        "freight_cost": {"constant": 1.5},
                    },
                }
            ],
        }
    )
    shown = "job_id, unit_id, disposition, labour_minutes, parts_cost, freight_cost"
    assert ws.rows(f"select {shown} from jobs order by 1") == [
        ("A-1", "42X", "repaired", 90.75, 1250.4, 1.5),
        ("A-2", "43", "no_fault_found", 121.0, 10.0, 1.5),
    ]
    assert ws.refused() == [(4, "disposition", ws.refused()[0][2], "weg")]
    assert ws.one("select in_file, left_out, read from load_files") == (4, 1, 3)


LISTS = [
    ("motor cable", ["motor cable"]),
    (" motor cable ; motor;;motor ", ["motor", "motor cable"]),
    ("board, motor cable|latch", ["board", "latch", "motor cable"]),
    ('"cable, left"; motor', ["cable, left", "motor"]),
    ("[motor cable, motor]", ["motor", "motor cable"]),
    ('["cable; left", " motor "]', ["cable; left", "motor"]),
    ("motor [left]", ["motor [left]"]),
    ("motor\ncable", ["cable", "motor"]),
    (" ; ", []),
]


def test_a_blank_within_a_name_does_not_end_it(ws: Workspace) -> None:
    """A list is taken apart at its separators; texts that a mapping gives are taken apart the same way."""
    cells = (text.replace('"', '""') for text, _ in LISTS)
    lines = [f'p,{n},s,fit,"{cell}"' for n, cell in enumerate(cells)]
    ws.write("p.csv", "\n".join(["procedure,step_seq,step,phase,subsystems", *lines]))
    ws.load({"files": {"p": {"path": "p.csv"}}, "table": [{"table": "procedures", "from": "p"}]})
    assert ws.rows("select subsystems from procedures order by step_seq") == [(names,) for _, names in LISTS]
    for text, names in LISTS:
        if not text.startswith('["'):
            assert sorted(set(list_entries(text))) == names
