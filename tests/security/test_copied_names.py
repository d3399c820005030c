"""A name that becomes a pseudonym is stored in no other column as it is, whatever way SQL takes it there."""

from pathlib import Path
from typing import Any

import pytest

from rqa.errors import MappingError, StoreError
from tests.cases import some_slow
from tests.workspaces import Workspace, csv_of

ROWS = [
    {"job_id": f"J{n}", "check": "flow", "at": f"2024-03-02 09:0{n}:00", "station": name, "site": "Alder", "crew": "A",
     "value": str(n)}
    for n, name in enumerate(("Zebulon Quill", "Orsolya Vant", "Zebulon Quill", "Adair Mosswick"))
]
BASE = 'job_id, "check" as "procedure", "at" as opened_at, station as technician, site'
COPIES = {
    "star": "select *, station as model from diag",
    "alias": f"select {BASE}, station as model from diag",
    "alias of alias": f"select {BASE}, station as s, s as model from diag",
    "other case": f'select {BASE}, upper("STATION") as model from diag',
    "neighbour": f"select {BASE}, lag(station) over (order by opened_at) as model from diag",
    "gathered": f"select {BASE}, string_agg(station, ', ') over (partition by site) as model from diag",
    "case": f"select {BASE}, case when site = 'Alder' then station else 'none' end as model from diag",
    "subquery": f"select {BASE}, (select max(station) from diag) as model from diag",
    "lateral": f"select {BASE}, t.n as model from diag, lateral (select diag.station as n) t",
    "common table": f"with d(a, b) as (select job_id, station from diag) select {BASE}, b as model from diag "
    "join d on a = diag.job_id",
    "common table later": "with d as (select *, station as n from diag), e as (from d) "
    f"select {BASE}, e.n as model from e",
    "recursive": "with recursive r(i, n) as (select 0, station from diag union all select i + 1, n from r where i < 1) "
    f"select {BASE}, n as model from diag, r where i = 1",
    "renamed columns": f"select {BASE}, f as model from diag, lateral (select station, crew) as d(f, g)",
    "union": f"select {BASE}, crew as model from diag union all select {BASE}, station from diag",
    "union by name": f"select {BASE}, crew as model from diag union all by name "
    f"select {BASE}, station as model from diag",
    "replaced": f"select {BASE}, t.crew as model from (select * replace (station as crew) from diag) as t",
    "renamed": f"select {BASE.replace('station', 'model')}, model from (select * rename (station as model) from diag)",
    "columns": f"select {BASE}, columns(lambda c: c = 'station') as model from diag",
    "whole row": f"select {BASE}, diag::varchar as model from diag",
    "field of a row": f"select {BASE}, d.model from (select *, {{'model': station}} as d from diag)",
    "list": f"select {BASE}, unnest([station, crew]) as model from diag",
    "unnested": f"select {BASE}, n as model from diag, unnest([station]) u(n)",
    "values": f"select {BASE}, n as model from diag, (values (station)) v(n)",
    "lambda": f"select {BASE}, list_transform([1], lambda x: station)[1] as model from diag",
    "unnamed": f'select {BASE}, model from (select *, "any_value(station)" as model from '
    "(select *, t.* from diag, (select any_value(station) from diag) t))",
    "equal by join": f"select {BASE}, p.nick as model from diag join people p on upper(p.nick) = upper(station)",
    "equal by using": f"select {BASE}, p.station as model from diag join (select nick as station from people) p "
    "using (station)",
    "equal by in": f"select {BASE}, nick as model from diag, people where station in (nick)",
    "chosen": f"select {BASE}, arg_max(station, value) over () as model from diag",
}
SOUND = {
    "plain": f"select {BASE}, crew as model from diag",
    "counted": f"select {BASE}, 'of ' || count(station) over (partition by crew) as model from diag",
    "condition": f"select {BASE}, case when station = 'Zebulon Quill' then 'here' else crew end as model from diag",
    "filtered": f"select {BASE}, any_value(crew) filter (where station is not null) over (order by station) as model "
    "from diag where station <> ''",
    "grouped": 'select job_id, min("check") as procedure, min("at") as opened_at, min_by(station, crew) as technician, '
    "any_value(site) as site, any_value(crew) as model from diag group by job_id, station",
    "joined": f"select {BASE}, team as model from diag join people on station = nick",
    "others of that name": f"select {BASE.replace('station', 'diag.station')}, p.station as model from diag join "
    "(select team as station, nick from people) p on nick = diag.station",
    "excluded": f"select {BASE}, value as model, t.* exclude (station, job_id, site, value) from diag as t",
}


def _mapping(key: Path, select: str, **table: Any) -> dict[str, Any]:
    columns: dict[str, Any] = {
        "unit_id": {"sql": "job_id"}, "technician": {"column": "technician", "key_file": str(key)},
        "closed_at": {"sql": "opened_at"}, "disposition": {"constant": "repaired"},
    }
    return {
        "files": {"diag": {"path": "diag.csv"}, "people": {"path": "people.csv"}},
        "table": [{"table": "jobs", "select": select, "columns": columns | table}],
    }


@pytest.fixture
def there(tmp_path: Path) -> tuple[Workspace, Path]:
    ws = Workspace(tmp_path / "workspace")
    ws.folder.mkdir()
    ws.write("diag.csv", csv_of(*ROWS))
    ws.write("people.csv", csv_of(*({"nick": n, "team": "B"} for n in dict.fromkeys(r["station"] for r in ROWS))))
    (tmp_path / "key").write_bytes(b"a key for the tests alone")
    return ws, tmp_path / "key"


@pytest.mark.parametrize("way", some_slow(list(COPIES), 8))
def test_no_select_copies_a_name_past_its_key(there: tuple[Workspace, Path], way: str) -> None:
    ws, key = there
    mapping = _mapping(key, COPIES[way])
    if way == "star":
        mapping["table"][0]["columns"] |= {"technician": {"column": "station", "key_file": str(key)},
                                           "procedure": {"column": "check"}, "opened_at": {"column": "at"},
                                           "closed_at": {"column": "at"}}
    with pytest.raises(MappingError, match=r"table\.1 \(jobs\): model: it would hold, or may hold.*a key_file, with"):
        ws.load(mapping)
    assert not ws.store.exists()


@pytest.mark.parametrize("way", some_slow(list(SOUND), 5))
def test_what_only_depends_on_a_name_is_stored(there: tuple[Workspace, Path], way: str) -> None:
    ws, key = there
    ws.load(_mapping(key, SOUND[way]))
    stored = str(ws.rows("select * from jobs")).lower()
    assert ws.one("select count(*) from jobs") == len(ROWS)
    assert not [r["station"] for r in ROWS if r["station"].lower() in stored]


def test_a_name_that_another_table_keys_is_not_copied(there: tuple[Workspace, Path]) -> None:
    ws, key = there
    mapping = _mapping(key, SOUND["plain"])
    copied = {"job_id": "job_id", "line": {"constant": 1}, "part_no": "station"}
    mapping["table"].append({"table": "parts", "from": "diag", "columns": copied})
    with pytest.raises(MappingError, match=r"table\.2 \(parts\): part_no: it would hold, or may hold"):
        ws.load(mapping)
    # The copy is found in a load that need not read the files of the other table again, too.
    entry = mapping["table"].pop()
    ws.load(mapping)
    with pytest.raises(MappingError, match=r"table\.2 \(parts\): part_no: it would hold, or may hold"):
        ws.load(mapping | {"table": [*mapping["table"], entry]})


def test_an_expression_gives_no_name_of_another_row(there: tuple[Workspace, Path]) -> None:
    ws, key = there
    columns = _mapping(key, "")["table"][0]["columns"] | {
        "technician": {"column": "station", "key_file": str(key)}, "procedure": "check", "opened_at": "at",
        "closed_at": "at", "model": {"sql": 'lag(station, 1, crew) over (order by "at")'},
    }
    mapping = {
        "files": {"diag": {"path": "diag.csv"}},
        "table": [{"table": "jobs", "from": "diag", "columns": columns}],
    }
    with pytest.raises(MappingError, match=r"model: it would hold"):
        ws.load(mapping)


def test_a_store_that_may_hold_names_of_a_column_from_before_its_key_is_not_added_to(
    there: tuple[Workspace, Path],
) -> None:
    ws, key = there
    mapping = _mapping(key, f"select {BASE.replace('site', 'crew as site')}, site as model from diag")
    ws.load(mapping)
    mapping["table"][0]["columns"] |= {"site": {"column": "site", "key_file": str(key)}, "model": {"constant": "Quern"}}
    with pytest.raises(StoreError, match=r"no names in jobs\.site may be stored.*Delete it"):
        ws.load(mapping)
    # A table that had no rows holds no names.
    del mapping["table"][0]["columns"]["site"]
    tests = {"job_id": "job_id", "test": {"constant": "flow"}, "outcome": {"constant": "pass"}, "run_at": "at",
             "station": {"column": "station", "key_file": str(key)}}
    ws.load(mapping | {"table": [*mapping["table"], {"table": "diagnostics", "from": "diag", "columns": tests}]})
    assert ws.one("select count(*) from diagnostics") == len(ROWS)
