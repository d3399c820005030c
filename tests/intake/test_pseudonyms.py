"""Keyed pseudonyms: HMAC-SHA-256 as published, the same for the same name, and neither name nor key in the store."""

import hashlib
import hmac
from pathlib import Path

import duckdb
import pytest

from rqa.errors import RequestError
from rqa.pseudonyms import pseudonym_sql
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
    sql = pseudonym_sql("a", key_file=key_in(tmp_path, key), prefix="X", digits=64)
    as_it_is = sql.replace('upper(trim("a"))', '"a"')
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
    sql = pseudonym_sql("Name", key_file=key_in(tmp_path, key))
    workspace.jobs(csv_of(*rows), columns={"technician": {"sql": sql}})

    def code(name: str) -> str:
        return "P" + hmac.new(key, name.upper().encode(), hashlib.sha256).hexdigest()[:10]

    found = [row[0] for row in workspace.rows("select technician from jobs order by job_id")]
    assert found[:3] == [code("José Müller"), code("José Müller"), code("Ann O'Neil")]
    stored = workspace.store.read_bytes()
    for secret in (key, key[:12], b"ller", b"Neil", key.hex().encode()):
        assert secret not in stored


def test_another_key_gives_other_pseudonyms(tmp_path: Path) -> None:
    made = set()
    for key in (b"one", b"two", b"one\n"):
        sql = pseudonym_sql("a", key_file=key_in(tmp_path, key))
        made.update(duckdb.sql(f"select {sql} from (select 'T. Somebody' as a)").fetchall())
    assert len(made) == 3


def test_nobody_stays_nobody(tmp_path: Path) -> None:
    sql = pseudonym_sql("a", key_file=key_in(tmp_path, b"one"))
    assert duckdb.sql(f"select {sql} from (select cast(null as varchar) as a)").fetchall() == [(None,)]


def test_what_cannot_be_asked(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="holds no key"):
        pseudonym_sql("a", key_file=tmp_path / "none")
    key = key_in(tmp_path, b"one")
    with pytest.raises(RequestError, match="digits"):
        pseudonym_sql("a", key_file=key, digits=4)
    with pytest.raises(RequestError, match="prefix"):
        pseudonym_sql("a", key_file=key, prefix="'")
