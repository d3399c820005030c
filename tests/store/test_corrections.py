"""One row for each key: which reading stands when rows are repeated, corrected, reverted or read again."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.errors import MappingError
from rqa.store.verdicts import LATER
from tests.examples import examples
from tests.store.merging import Depot
from tests.workspaces import HEADER, Workspace, csv_of, job

MAPPING = {"files": {"f": {"path": "*.csv"}}, "table": [{"table": "jobs", "from": "f"}]}
COUNTS = ("read", "accepted", "refused", "known", "superseded")


def counts(ws: Workspace, mapping: Any = MAPPING) -> tuple[int, ...]:
    report = ws.load(mapping)
    return tuple(report.total(c) for c in COUNTS)


def model(ws: Workspace, job_id: str = "A") -> str:
    return str(ws.one(f"select model from jobs where job_id = '{job_id}'"))


def replaced(ws: Workspace) -> list[tuple[Any, ...]]:
    """(content's model, place, by place) of every superseded reading."""
    shown = "content->>'model', source_file || ':' || source_row, by_file || ':' || by_row"
    return ws.rows(f"select {shown} from superseded order by all")


def snapshot(ws: Workspace) -> list[list[tuple[Any, ...]]]:
    return [
        ws.rows(f"select * from {t} order by all")
        for t in ("jobs", "(select * exclude (load_id) from refused)", "(select * exclude (load_id) from superseded)")
    ]


def test_later_row_of_the_same_file_corrects(ws: Workspace) -> None:
    ws.write("a.csv", csv_of(job("A", model="one"), job("B"), job("A", model="two"), job("A", model="two")))
    assert counts(ws) == (4, 2, 0, 1, 1)
    assert model(ws) == "two"
    assert replaced(ws) == [("one", "a.csv:2", "a.csv:4")]


def test_later_file_corrects_and_the_old_row_is_kept(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", model="one")))
    ws.write("2.csv", csv_of(job("A", model="two"), job("B")))
    assert counts(ws) == (3, 2, 0, 0, 1)
    assert replaced(ws) == [("one", "1.csv:2", "2.csv:2")]
    assert ws.one("select key_text from superseded") == '{"job_id":"A"}'


def test_later_load_corrects(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", model="one")))
    assert counts(ws) == (1, 1, 0, 0, 0)
    ws.write("2.csv", csv_of(job("A", model="two")))
    assert counts(ws) == (2, 1, 0, 1, 0)
    assert model(ws) == "two"
    assert replaced(ws) == [("one", "1.csv:2", "2.csv:2")]


def test_file_changed_in_place_corrects_and_may_be_reverted(ws: Workspace) -> None:
    for number, name in enumerate(["one", "two", "one", "two"]):
        ws.write("1.csv", csv_of(job("B"), job("A", model=name)))
        assert counts(ws) == ((2, 2, 0, 0, 0) if number == 0 else (2, 1, 0, 1, 0))
        assert model(ws) == name
    assert len(replaced(ws)) == 3


def test_reading_everything_twice_changes_nothing(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", model="one"), job("B"), job("C", site="")))
    ws.write("2.csv", csv_of(job("A", model="two"), job("A", model="three"), job("B")) + "broken\n")
    assert counts(ws) == (7, 2, 2, 1, 2)
    before = snapshot(ws)
    assert counts(ws) == (7, 0, 2, 5, 0)
    assert snapshot(ws) == before
    for name in ("1.csv", "2.csv"):
        ws.write(name, (ws.folder / name).read_text() + "\n")
    assert counts(ws) == (7, 0, 2, 5, 0)
    assert snapshot(ws) == before
    ws.write("1.csv", (ws.folder / "1.csv").read_text() + "\n")
    assert counts(ws) == (7, 0, 2, 5, 0)
    assert snapshot(ws) == before


@pytest.mark.parametrize("again", ["grown", "sorted anew"])
def test_older_reading_does_not_come_back_when_its_file_is_read_again(ws: Workspace, again: str) -> None:
    ws.write("1.csv", csv_of(job("A", model="one"), job("B")))
    ws.write("2.csv", csv_of(job("A", model="two")))
    ws.load(MAPPING)
    rows = [job("A", model="one"), job("B"), job("C")]
    ws.write("1.csv", csv_of(*(rows if again == "grown" else rows[::-1])))
    assert counts(ws) == (4, 1, 0, 3, 0)
    assert model(ws) == "two"
    assert len(replaced(ws)) == 1


def test_file_that_was_not_read_again_is_still_the_later_one(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", model="one")))
    ws.write("2.csv", csv_of(job("A", model="two")))
    ws.load(MAPPING)
    ws.write("1.csv", csv_of(job("A", model="three")))
    assert counts(ws) == (2, 0, 0, 1, 1)
    assert model(ws) == "two"
    assert replaced(ws)[1] == ("three", "1.csv:2", "2.csv:2")
    (ws.folder / "2.csv").unlink()
    ws.write("1.csv", csv_of(job("A", model="four")))
    assert counts(ws) == (1, 0, 0, 0, 1)
    assert model(ws) == "two"
    assert counts(ws, MAPPING | {"workspace": {"vanished": "withdraw"}})[1] == 1
    assert model(ws) == "four"


def test_a_file_named_plainly_may_be_gone_once_it_was_loaded(ws: Workspace) -> None:
    """Its rows stay and what was refused of it is still told, by kind; a name that was never loaded is a fault."""
    plain = {"files": {"f": {"path": ["1.csv", "2.csv"]}}, "table": [{"table": "jobs", "from": "f"}]}
    ws.write("1.csv", csv_of(job("A")))
    ws.write("2.csv", csv_of(job("B"), job("C", disposition="lost")))
    ws.load(plain)
    (ws.folder / "2.csv").unlink()
    for _ in range(2):
        report = ws.load(plain)
        assert ws.one("select count(*) from jobs") == 2
        assert [(r.column, r.rows) for r in report.refusals] == [("disposition", 1)]
    report = ws.load({**plain, "workspace": {"vanished": "withdraw"}})
    assert (report.total("withdrawn"), ws.one("select count(*) from jobs"), report.refusals) == (1, 1, ())
    plain["files"]["f"]["path"] = ["1.csv", "3.csv"]
    with pytest.raises(MappingError, match=r"there is no file '3\.csv'"):
        ws.load(plain)


def test_rows_of_a_file_that_is_gone_stay(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A")))
    ws.load(MAPPING)
    (ws.folder / "1.csv").unlink()
    ws.write("2.csv", csv_of(job("B")))
    ws.load(MAPPING)
    assert [i for (i,) in ws.rows("select job_id from jobs order by 1")] == ["A", "B"]


def test_a_file_that_gave_no_good_row_may_be_gone_when_another_gives_the_first(ws: Workspace) -> None:
    """The first one lacks the steps' numbers, and the second brings them."""
    mapping = {"files": {"s": {"path": "s*.csv"}}, "table": [{"table": "steps", "from": "s"}]}
    ws.write("s1.csv", "job_id,step,outcome\nA,cut,maybe\n")
    ws.load(mapping)
    (ws.folder / "s1.csv").unlink()
    ws.write("s2.csv", "job_id,step,outcome,step_seq,attempt\nA,cut,pass,1,1\n")
    assert ws.load(mapping).total("accepted") == 1
    assert ws.rows("select job_id, step_seq, attempt from steps") == [("A", 1, 1)]


def test_a_file_that_is_gone_may_hold_rows_that_repeat_each_other(ws: Workspace) -> None:
    """What it repeated is not asked of it any more: a row for the same key in an older file is still the older one."""
    ws.write("1.csv", csv_of(job("B")))
    ws.write("2.csv", csv_of(job("A", model="two"), job("A", model="two")))
    ws.load(MAPPING)
    (ws.folder / "2.csv").unlink()
    ws.write("1.csv", csv_of(job("A", model="one")))
    assert counts(ws) == (1, 0, 0, 0, 1)
    assert model(ws) == "two"


def test_refused_rows_are_those_of_the_latest_reading(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", site=""), job("B", site="")) + "x\n")
    assert counts(ws) == (3, 0, 3, 0, 0)
    ws.write("1.csv", csv_of(job("A"), job("B", site="")))
    assert counts(ws) == (2, 1, 1, 0, 0)
    assert [(r, c) for r, c, _, _ in ws.refused()] == [(3, "site")]


def test_refused_correction_leaves_the_old_row(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", model="one"), job("A", model="")))
    assert counts(ws) == (2, 1, 1, 0, 0)
    assert model(ws) == "one"


def test_changed_mapping_reads_its_files_again(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", disposition="done")))
    assert counts(ws) == (1, 0, 1, 0, 0)
    columns = {"disposition": {"column": "disposition", "values": {"done": "repaired"}}}
    mapped = {**MAPPING, "table": [{"table": "jobs", "from": "f", "columns": columns}]}
    assert counts(ws, mapped) == (1, 1, 0, 0, 0)
    assert ws.refused() == []
    columns["disposition"]["values"] = {"done": "cancelled"}  # type: ignore[index]
    assert counts(ws, mapped) == (1, 1, 0, 0, 0)
    assert ws.one("select disposition from jobs") == "cancelled"


def test_rows_that_a_corrected_mapping_gives_no_more_are_withdrawn(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A") | {"kind": "repair", "no": "N1"}, job("B") | {"kind": "quote", "no": "N2"}))
    ws.load(MAPPING)

    def corrected(**entry: Any) -> tuple[list[Any], list[Any], int, int]:
        report = ws.load({**MAPPING, "table": [{"table": "jobs", "from": "f", **entry}]})
        gone = "select key_text->>'job_id', reason from superseded where load_id = (select max(load_id) from loads)"
        ids = [i for (i,) in ws.rows("select job_id from jobs order by 1")]
        return ids, ws.rows(f"{gone} order by 1"), report.total("withdrawn"), report.total("left_out")

    said = "its file, as mapped now, no longer gives it"
    assert corrected(where="kind <> 'quote'") == (["A"], [("B", said)], 1, 1)
    assert corrected() == (["A", "B"], [], 0, 0)
    assert corrected(columns={"job_id": "no"}) == (["N1", "N2"], [("A", said), ("B", said)], 2, 0)
    ws.load({"files": {"f": {"path": "1.csv"}}, "table": [{"table": "tests", "from": "f", "columns": {
        "test": "no", "subsystem": "model"}}]})
    assert ws.one("select count(*) from jobs") == 0
    assert ws.one("select count(*) from superseded where reason = 'the mapping no longer reads its file'") == 2


def test_a_superseded_row_comes_back_when_the_later_one_is_withdrawn(ws: Workspace) -> None:
    ws.write("1.csv", csv_of(job("A", model="one"), job("B")))
    ws.write("2.csv", csv_of(job("A", model="two")))
    ws.load(MAPPING)
    ws.write("2.csv", csv_of(job("C")))
    report = ws.load(MAPPING)
    assert model(ws) == "one"
    assert ws.one("select source_file || ':' || source_row from jobs where job_id = 'A'") == "1.csv:2"
    assert [(f.source_file, f.accepted, f.known, f.withdrawn) for f in report.files] == [
        ("1.csv", 1, 1, 0), ("2.csv", 1, 0, 1),
    ]


def test_entries_that_share_a_file_and_a_table_keep_their_refusals(ws: Workspace) -> None:
    ws.write("1.csv", f"kind,{HEADER}\n" + "".join(f"{k},{','.join(job(k, site='').values())}\n" for k in "XY"))

    def mapping(model: str) -> dict[str, Any]:
        tables: list[dict[str, Any]] = [
            {"table": "jobs", "from": "f", "where": "kind = 'X'"},
            {"table": "jobs", "from": "f", "where": "kind = 'Y'", "columns": {"model": {"constant": model}}},
        ]
        return {"files": {"f": {"path": "1.csv"}}, "table": tables}

    ws.load(mapping("a"))
    assert [(r, c) for r, c, _, _ in ws.refused()] == [(2, "site"), (3, "site")]
    report = ws.load(mapping("a"))
    assert all(f.unchanged for f in report.files)
    ws.load(mapping("b"))
    assert [(r, c) for r, c, _, _ in ws.refused()] == [(2, "site"), (3, "site")]


KEYS = st.sampled_from(["1", "-1", "0", str(2**63 - 1), str(-(2**63)), " ", "a", "A", '{"x":1}', "null", "'"])
ROWS = st.lists(st.tuples(KEYS, st.sampled_from("xyz")), max_size=6)
LOADS = st.lists(st.dictionaries(st.sampled_from([0, 1, 2]), ROWS, min_size=1), min_size=1, max_size=4)


@settings(max_examples=examples(20), deadline=None)
@given(loads=LOADS)
def test_settling_equals_a_slow_reading_of_the_rules(loads: list[dict[int, list[tuple[str, str]]]]) -> None:
    """Of the rows of a key, in order, the first of the last run that says the same stands; those of earlier runs are
    superseded by the next."""
    with Depot("tests", {"test": "key", "subsystem": "value"}) as depot:
        files: dict[int, list[tuple[str, str]]] = {}
        for changed in loads:
            files |= changed
            verdicts = depot.settle({n: [*map(list, r)] for n, r in changed.items()})
            stands: dict[str, tuple[str, int, int]] = {}
            superseded = []
            for n in sorted(files):
                for at, (key, value) in enumerate(files[n], 1):
                    if key not in stands or stands[key][0] != value:
                        if key in stands:
                            superseded.append((key, *stands[key], n, at))
                        stands[key] = (value, n, at)
            assert depot.rows("select test, subsystem, source_file::int, source_row from tests") == sorted(
                (key, *rest) for key, rest in stands.items()
            )
            shown = "key_text->>'test', content->>'subsystem', source_file::int, source_row, by_file::int, by_row"
            assert depot.rows(f"select {shown} from superseded where reason = '{LATER}'") == sorted(superseded)
            assert all(sum(v.values()) == len(files[n]) for n, v in verdicts.items())


@settings(max_examples=examples(20), deadline=None)
@given(
    rows=st.lists(
        st.tuples(
            st.sampled_from(["", " ", "A", "a", "null"]),
            st.sampled_from([0, 1, 2**63 - 1, 2**62, 63, 64, 65]),
            st.sampled_from([1, 2, 2**63 - 1]),
            st.sampled_from(["x", "y"]),
        ),
        max_size=12,
    )
)
def test_keys_are_as_unique_as_group_by_says(rows: list[tuple[str, int, int, str]]) -> None:
    columns = {"job_id": "", "step_seq": "", "attempt": "", "step": "", "outcome": "'pass'"}
    with Depot("steps", columns) as depot:
        half = len(rows) // 2
        first = depot.settle({0: [[*r, "pass"] for r in rows[:half]], 1: [[*r, "pass"] for r in rows[half:]]})
        assert sum(v["accepted"] for v in first.values()) == len({r[:3] for r in rows})
        again = depot.settle({2: [[*r, "pass"] for r in rows]})
        clash = "select job_id, step_seq, attempt from steps group by all having count(*) > 1"
        assert depot.rows(clash) == []
        assert len(depot.rows("select job_id, step_seq, attempt from steps")) == len({r[:3] for r in rows})
        assert sum(again[2].values()) == len(rows)
