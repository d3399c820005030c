"""What a message says of a value out of a file, a mapping or a store is short, on one line, and steers no terminal."""

import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rqa
from rqa.errors import MappingError, RqaError, StoreError
from rqa.shown import LONGEST_LINE, LONGEST_VALUE, TAIL, UNSHOWN, message, short, told
from rqa.store.engine import connect
from rqa.store.lock import writing
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of, job

LONG = "\x1b[31mevil\x07" * 5_000
MAPPING = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}


def assert_short(said: str) -> None:
    assert not UNSHOWN.search(said)
    assert max(map(len, said.split("\n"))) <= LONGEST_LINE + len(" […] ")


@given(st.text(st.characters(), max_size=3_000))
def test_a_message_is_short_and_ends_as_it_was_meant_to(text: str) -> None:
    assert_short(message(text))
    assert_short(str(RqaError(text)))
    error = MappingError(text, [text, "another"])
    assert [message(text), "another"] == list(error.faults)
    end = "Next: load anew."
    assert message(f"{text} {end}").endswith(end)


@given(st.text(st.characters(), max_size=300))
def test_a_value_is_named_on_one_line(text: str) -> None:
    for said in (told(text), short(text)):
        assert "\n" not in said
        assert not UNSHOWN.search(said)
    assert len(told(text)) <= 10 * LONGEST_VALUE + 40
    if len(text) <= LONGEST_VALUE:
        assert told(text) == repr(text)


def test_a_line_is_cut_in_its_middle() -> None:
    said = message("begin " + "x" * 5_000 + " end.\nNext line.")
    assert said.startswith("begin xxx")
    assert said.endswith("x end.\nNext line.")
    assert " […] " in said
    assert len(said.split("\n")[0]) == LONGEST_LINE + len(" […] ")
    assert len(said.split(" […] ")[1].split("\n")[0]) == TAIL


def of_store(ws: Workspace, column: str) -> Callable[[], object]:
    ws.write("1.csv", csv_of(job("A")))
    ws.load(MAPPING)
    with connect(ws.store, read_only=False) as c:
        c.execute("update about set value = ? where name = ?", [LONG, column])
        c.execute("update about set value = '0' where name = 'format_version' and value <> ?", [LONG])
    return lambda: rqa.open(ws.folder)


def of_mapping(ws: Workspace, **entry: object) -> Callable[[], object]:
    ws.write("1.csv", csv_of(job("A")))
    return lambda: ws.load({"files": {"f": {"path": "1.csv"}}, "table": [{"table": "jobs", "from": "f"} | entry]})


TRIALS: dict[str, Callable[[Workspace], Callable[[], object]]] = {
    "format of a store": lambda ws: of_store(ws, "format_version"),
    "writer of a store": lambda ws: of_store(ws, "rqa_version"),
    "name of a table": lambda ws: of_mapping(ws, table=LONG),
    "name of files": lambda ws: of_mapping(ws, **{"from": LONG}),
    "column of the contract": lambda ws: of_mapping(ws, columns={LONG: "model"}),
    "column of a file": lambda ws: of_mapping(ws, columns={"model": LONG}),
    "code": lambda ws: of_mapping(ws, columns={"disposition": {"constant": LONG}}),
    "condition": lambda ws: of_mapping(ws, where=f"{LONG!r} <"),
    "unknown key": lambda ws: of_mapping(ws, **{LONG: 1}),
    "zone": lambda ws: of_mapping(ws, zone=LONG),
}


@pytest.mark.parametrize("what", some_slow(list(TRIALS), 4))
def test_a_long_value_floods_no_message(ws: Workspace, what: str) -> None:
    ask = TRIALS[what](ws)
    with pytest.raises(RqaError) as raised:
        ask()
    assert_short(str(raised.value))
    for fault in getattr(raised.value, "faults", ()):
        assert_short(fault)


def test_a_long_value_floods_no_report(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A"), job("B", model=LONG.replace("\x1b", "")), job("C", disposition="x" * 9_999)))
    report = ws.load(MAPPING | {"workspace": {"models": ["Quern"]}})
    assert_short(str(report).replace("\x07", ""))
    assert "unknown model" in str(report)


def test_what_stands_in_the_lock_file_is_not_repeated(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    ws.write("1.csv", csv_of(job("A")))
    holding, free = threading.Event(), threading.Event()

    def hold() -> None:
        with writing(ws.store, wait=0):
            Path(f"{ws.store}.lock").write_text(LONG)
            holding.set()
            free.wait(10)

    other = threading.Thread(target=hold)
    other.start()
    assert holding.wait(10)
    with pytest.raises(StoreError, match="is being loaded by another process; waited"):
        ws.load(MAPPING, wait=0)
    free.set()
    other.join()
