"""Keyed pseudonyms: HMAC-SHA-256 as published, the same for the same name, and neither name nor key in the store."""

import hashlib
import hmac
import json
from pathlib import Path

import duckdb
import pytest

from rqa.errors import MappingError
from rqa.intake.pseudonyms import pseudonym
from tests.workspaces import Workspace, csv_of, job

# RFC 4231, test cases 1, 2 and 6 (from memory; Python's hmac, asked below, gives the same). They are checked on the
# text as it is, before it is brought to capitals.
PUBLISHED = [
    (b"\x0b" * 20, "Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (b"Jefe", "what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
    (
        b"\xaa" * 131,
        "Test Using Larger Than Block-Size Key - Hash Key First",
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
    ),
]


def key_in(tmp_path: Path, key: bytes) -> Path:
    folder = tmp_path / "somewhere ' else"
    folder.mkdir(exist_ok=True)
    (folder / "key").write_bytes(key)
    return folder / "key"


@pytest.mark.parametrize(("key", "text", "digest"), PUBLISHED)
def test_it_is_the_published_function(tmp_path: Path, key: bytes, text: str, digest: str) -> None:
    assert hmac.new(key, text.encode(), hashlib.sha256).hexdigest() == digest
    sql = pseudonym("a", str(key_in(tmp_path, key)), prefix="X", digits=64)
    as_it_is = sql.replace("upper(a)", "a")
    assert as_it_is != sql
    assert duckdb.sql(f"select {as_it_is} from (select $${text}$$ as a)").fetchall() == [("X" + digest,)]


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    folder = tmp_path / "workspace"
    folder.mkdir()
    return Workspace(folder)


def test_a_load_stores_pseudonyms_alone(workspace: Workspace, tmp_path: Path) -> None:
    key = b"kept in a safe \xff\x00 place" * 3
    names = ("José Müller", " josé müller", "Ann O'Neil", "")
    rows = [job(f"J{i}", unit_id=f"U{i}") | {"Name": name} for i, name in enumerate(names)]
    rows.append(job("J9", site="") | {"Name": "Ann O'Neil"})
    origin = {"column": "Name", "key_file": str(key_in(tmp_path, key))}
    workspace.jobs(csv_of(*rows), columns={"technician": origin})
    ((raw,),) = workspace.rows("select raw from refused")
    assert json.loads(raw)["job_id"] == "J9"

    def code(name: str) -> str:
        return "P" + hmac.new(key, name.upper().encode(), hashlib.sha256).hexdigest()[:10]

    found = [row[0] for row in workspace.rows("select technician from jobs order by job_id")]
    assert found[:3] == [code("José Müller"), code("José Müller"), code("Ann O'Neil")]
    stored = workspace.store.read_bytes()
    for secret in (key, key[:12], b"ller", b"Neil", key.hex().encode()):
        assert secret not in stored


def test_a_line_of_json_lines_is_not_kept_whole(workspace: Workspace, tmp_path: Path) -> None:
    origin = {"sql": "left(Name, 20)", "key_file": str(key_in(tmp_path, b"one"))}
    row = json.dumps(job("J1", site="") | {"Name": "Ann O'Neil"})
    workspace.jobs(row + "\n", name="jobs.jsonl", columns={"technician": origin})
    assert workspace.rows("select rule, raw from refused") == [("missing", '{"kept out":9}')]
    assert b"Neil" not in workspace.store.read_bytes()


@pytest.mark.parametrize("ending", ["csv", "jsonl"])
def test_a_person_without_a_key_is_not_kept_with_a_refused_row(workspace: Workspace, ending: str) -> None:
    row = {
        "job_id": "J1",
        "step": "open",
        "outcome": "",
        "place": "Adaobi",
        "fault": "says Adaobi",
        "value": "ADAOBI 3",
    }
    text = json.dumps(row) + "\n" if ending == "jsonl" else csv_of(row)
    workspace.write(f"steps.{ending}", text)
    columns = {"bench": {"column": "place", "person": True}}
    workspace.load({"files": {"f": {"path": f"steps.{ending}"}},
                    "table": [{"table": "steps", "from": "f", "columns": columns}]})
    found = workspace.rows("select column_name, value, raw from refused order by all")
    assert [r[:2] for r in found] == [("outcome", None), ("value", "(name)")]
    assert [r for r in found if "adaobi" in r[2].lower()] == []
    assert json.loads(found[0][2])["job_id"] == "J1"


@pytest.mark.parametrize("sql", ["Name || ' asked'", 'case when true then lower("Name") end'])
def test_what_sql_makes_of_a_name_is_no_name(workspace: Workspace, tmp_path: Path, sql: str) -> None:
    columns = {
        "technician": {"column": "Name", "key_file": str(key_in(tmp_path, b"one"))},
        "complaint": {"sql": sql}, "found": {"sql": "case when Name = 'Nobody' then 'none' else 'port' end"},
    }
    workspace.jobs(csv_of(job("J1") | {"Name": "Ann O'Neil"}), columns=columns)
    assert workspace.rows("select complaint, found from jobs") == [("(name)", "port")]


def test_another_key_gives_other_pseudonyms(tmp_path: Path) -> None:
    made = set()
    for key in (b"one", b"two", b"one\n"):
        sql = pseudonym("a", str(key_in(tmp_path, key)))
        made.update(duckdb.sql(f"select {sql} from (select 'T. Somebody' as a)").fetchall())
    assert len(made) == 3


def test_nobody_stays_nobody(tmp_path: Path) -> None:
    sql = pseudonym("a", str(key_in(tmp_path, b"one")))
    assert duckdb.sql(f"select {sql} from (select cast(null as varchar) as a)").fetchall() == [(None,)]


@pytest.mark.parametrize(("place", "said"), [("none", "holds no key"), ("", "a whole path")])
def test_what_cannot_be_asked(workspace: Workspace, tmp_path: Path, place: str, said: str) -> None:
    key_file = str(tmp_path / place) if place else "key"
    with pytest.raises(MappingError, match=said):
        workspace.jobs(csv_of(job("J1")), columns={"technician": {"column": "model", "key_file": key_file}})
