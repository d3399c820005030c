"""A mapping is data from a colleague: whatever its SQL tries, nothing but the named files is read, and nothing written.

Each wall is tested alone: the parser's check on every attack, and the closed engine on every attack without that check.
A canary file, a canary server on loopback and a canary variable of the environment tell whether anything was reached.
"""

import glob
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import duckdb
import pytest

from rqa.errors import MappingError
from rqa.intake.draft import draft
from rqa.store.engine import connect
from rqa.store.mapping_sql import expression_faults, select_faults, sql_faults
from tests.cases import some_slow
from tests.security.attacks import Canary, expressions, readers, selects, statements
from tests.workspaces import Workspace, csv_of, job

SECRET = "canary-5f1d"


@pytest.fixture
def calls() -> Iterator[list[str]]:
    """Connections that reach a server on loopback; its address is the first entry."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        found = [f"http://127.0.0.1:{server.getsockname()[1]}"]

        def listen() -> None:
            while True:
                try:
                    connection, _ = server.accept()
                except OSError:
                    return
                found.append("called")
                connection.close()

        listener = threading.Thread(target=listen, daemon=True)
        listener.start()
        yield found
        server.shutdown(socket.SHUT_RDWR)
        listener.join(5)


@pytest.fixture
def canary(tmp_path: Path, calls: list[str], monkeypatch: pytest.MonkeyPatch) -> Iterator[Canary]:
    """The canaries; afterwards nothing of them was read, changed or called."""
    folder = tmp_path / "outside"
    folder.mkdir()
    file = folder / "canary.csv"
    file.write_text(f"x\n{SECRET}\n")
    monkeypatch.setenv("RQA_CANARY", SECRET)
    yield Canary(str(file), "RQA_CANARY", calls[0])
    assert file.read_text() == f"x\n{SECRET}\n"
    assert [f.name for f in folder.iterdir()] == ["canary.csv"], "something was written beside the canary"
    assert len(calls) == 1, "the canary server was called"


def _mapping(**entry: Any) -> dict[str, Any]:
    return {"files": {"log": {"path": "jobs.csv"}}, "table": [{"table": "jobs", **entry}]}


def test_there_are_more_than_two_hundred_attacks_and_the_parser_refuses_each(canary: Canary) -> None:
    tries = [("expression", e) for e in expressions(canary)] + [("select", s) for s in selects(canary, "log")]
    assert len(tries) > 200
    passed = [
        text
        for kind, text in tries
        if not (expression_faults(text) if kind == "expression" else select_faults(text, ["log"]))
    ]
    # A SELECT may leave out the named files; it is refused elsewhere when it names none.
    assert passed == ["values (1) -- log"]


@pytest.mark.parametrize("where", some_slow(["sql", "where", "select"], 2))
def test_a_hostile_mapping_is_refused_with_all_its_faults_and_their_places(
    ws: Workspace, canary: Canary, where: str
) -> None:
    ws.write("jobs.csv", csv_of(job()))
    hostile = f"(select content from read_text('{canary.path}'))"
    entry: dict[str, Any] = {
        "sql": {"from": "log", "columns": {"model": {"sql": hostile}, "complaint": {"sql": "job_id; drop table x"}}},
        "where": {"from": "log", "where": f"exists {hostile}"},
        "select": {"select": f"select *, {hostile} as model from log"},
    }[where]
    for write in (False, True):
        with pytest.raises(MappingError) as caught:
            ws.load(_mapping(**entry), write=write)
        said = str(caught.value)
        place = "table.1 (jobs), " + {"sql": "columns.model.sql"}.get(where, where)
        assert place in said
        assert "read_text" in said
        assert "Nothing was run" in said
        assert SECRET not in said
        if where == "sql":
            assert "table.1 (jobs), columns.complaint.sql: only a SELECT is accepted" in said
    assert not ws.store.exists()


def statements_in(text: str) -> int:
    """How many statements a text holds; none where it is no SQL, of which nothing is run."""
    try:
        return len(duckdb.extract_statements(text))
    except duckdb.Error:
        return 0


def answers(connection: duckdb.DuckDBPyConnection) -> bool:
    try:
        return connection.execute("select 42").fetchall() == [(42,)]
    except duckdb.Error:
        return False


def test_the_closed_engine_alone_stops_every_attack(ws: Workspace, canary: Canary, tmp_path: Path) -> None:
    """Without the parser's check: no statement reads the canary, writes, calls out or opens the engine again."""
    ws.write("jobs.csv", csv_of(job()))
    ws.load(_mapping(**{"from": "log"}))
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    source = ws.folder / "jobs.csv"
    tries = [f"select * from {item}" for item in readers(canary)] + statements(canary)
    tries += [f"select ({e})::varchar from (select '{canary.path}' as id)" for e in expressions(canary)]
    tries += [f"copy (select 1) to '{source}'", f"copy (select 1) to '{source}.out'"]
    opened: list[Callable[[], duckdb.DuckDBPyConnection]] = [
        lambda: connect(ws.store, read_only=True, scratch=scratch),
        lambda: connect(scratch / "fresh.duckdb", read_only=False, scratch=scratch, reads=[source]),
    ]
    for opens in opened:
        connection = opens()
        for text in tries:
            if "sleep_ms" in text:
                continue
            try:
                rows, untouched = connection.execute(text).fetchall(), False
            except duckdb.Error as error:
                # One statement that failed has changed nothing, as long as the engine still answers.
                rows, untouched = [(str(error),)], statements_in(text) < 2 and answers(connection)
            assert SECRET not in str(rows), text
            if not untouched:
                connection.close()
                connection = opens()
        connection.close()
    assert source.read_text() == csv_of(job())
    assert not Path(f"{source}.out").exists()


def test_a_sound_mapping_still_says_what_a_depot_needs() -> None:
    sound = [
        "try_cast(replace(\"Hours\", ',', '.') as double) * 60",
        "case when lower(trim(\"Kind\")) in ('q', 'quote') then 'cancelled' else \"Kind\" end -- a remark",
        "coalesce(a, b) || '-' || lpad(c, 6, '0')",
        "regexp_extract(note, '([0-9]+)h', 1)",
        "strptime(day || ' ' || clock, '%d.%m.%Y %H:%M')",
        "(a::date + interval 1 day)::varchar",
        "list_aggregate([x for x in string_split(a, ';') if x <> ''], 'count')",
        "row_number() over (partition by a order by b)",
        "json_extract_string(a, '$.b')",
        "a is not null and b not like 'x%' and c between 1 and 2",
        "(select max(x) from (values (1), (2)) as t(x))",
    ]
    assert [(s, expression_faults(s)) for s in sound if expression_faults(s)] == []
    select = """
with begun as (select "case", min(timestamp) as started_at from log group by all)
select l."case" as job_id, any_value(resource) filter (where resource is not null) as technician, started_at
from log l join begun using ("case") left join floor f on f.id = l.id asof join log m on l.t >= m.t
group by all having count(*) > 0 order by 1 -- the end
;"""
    assert select_faults(select, ["log", "floor"]) == []
    entry = {"from": "log", "where": sound[9], "columns": {"model": {"sql": sound[0]}}}
    assert sql_faults(draft(_mapping(**entry)).mapping) == {}


def test_every_function_that_a_mapping_may_call_was_looked_at() -> None:
    """A new release of the engine may bring functions whose value depends on more than the row; they must be judged."""
    from rqa.store.mapping_sql import usable_functions

    with duckdb.connect() as engine:
        found = engine.execute(
            "select distinct function_name from duckdb_functions() where function_type = 'scalar' "
            "and stability = 'CONSISTENT_WITHIN_QUERY'"
        ).fetchall()
    of_the_row = {
        "+", "-", "age", "century", "date_diff", "date_part", "date_sub", "date_trunc", "datediff", "datepart",
        "datesub", "datetrunc", "day", "dayname", "dayofmonth", "dayofweek", "dayofyear", "decade", "era",
        "generate_series", "hour", "isodow", "isoyear", "julian", "last_day", "make_timestamptz", "microsecond",
        "millennium", "millisecond", "minute", "month", "monthname", "quarter", "range", "second", "strftime",
        "time_bucket", "timezone", "timezone_hour", "timezone_minute", "week", "weekday", "weekofyear", "year",
        "yearweek",
    }
    assert {name for (name,) in found} & usable_functions() == of_the_row


def test_every_word_that_the_engine_gives_a_value_is_refused(ws: Workspace) -> None:
    """Words without parentheses: those of the engine's own lists that give a value where there is no column."""
    with duckdb.connect() as engine:
        words = engine.execute(
            "select keyword_name from duckdb_keywords() union select function_name from duckdb_functions() "
            "union select unnest(['current_time', 'current_timestamp', 'localtime', 'localtimestamp'])"
        ).fetchall()
        giving = []
        for (word,) in words:
            with suppress(duckdb.Error):
                engine.execute(f"select {word}").fetchall()
                giving.append(word)
    giving = sorted(set(giving) - {"false", "null", "true"})
    assert {"current_date", "current_timestamp", "localtime", "session_user", "user"} <= set(giving)
    ws.write("jobs.csv", csv_of(job()))
    for word in giving:
        assert select_faults(f"select *, {word.upper()} as model from log", ["log"]), word
        assert select_faults(f'select *, log."{word}" as model from log', ["log"]) == [], word
        for entry in ({"columns": {"complaint": {"sql": f"{word}::varchar"}}}, {"where": f"{word} is not null"}):
            with pytest.raises(MappingError, match="is a word by which the engine tells the time or of itself"):
                ws.load(_mapping(**{"from": "log"}, **entry))


def test_a_column_that_is_called_like_a_word_of_the_engine_is_read(ws: Workspace) -> None:
    ws.write("jobs.csv", csv_of(job() | {"user": "Ann"}))
    ws.load(_mapping(**{"from": "log", "columns": {"technician": "user", "complaint": {"sql": 'upper("user")'}}}))
    assert ws.rows("select technician, complaint from jobs") == [("Ann", "ANN")]
    ws.load(_mapping(select='select *, log."user" as technician from log'))
    assert ws.rows("select technician, complaint from jobs") == [("Ann", None)]


@pytest.mark.parametrize("name", some_slow(["jobs[1].csv", "jobs*.csv", "jobs?.csv", "jobs[!1].csv", "jobs{1}.csv"], 2))
@pytest.mark.parametrize("format", ["csv", "jsonl", "parquet"])
def test_a_file_name_is_never_a_pattern(ws: Workspace, name: str, format: str) -> None:
    import json

    import polars as pl

    folder = Workspace(ws.folder / "depot [2]")
    for place, of, unit in (
        (folder, name, "RIGHT"),
        (folder, "jobs1.csv", "OTHER"),
        (ws, "depot 2/jobs1.csv", "THIRD"),
    ):
        path, row = f"{of[:-4]}.{format}", job(unit_id=unit)
        place.write(path, {"csv": csv_of(row), "jsonl": json.dumps(row), "parquet": ""}[format])
        if format == "parquet":
            pl.DataFrame([row]).write_parquet(place.folder / path)
    path = f"{name[:-4]}.{format}"
    folder.load({"files": {"log": {"path": glob.escape(path)}}, "table": [{"table": "jobs", "from": "log"}]})
    assert folder.rows("select unit_id, source_file from jobs") == [("RIGHT", path)]
