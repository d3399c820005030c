"""Keys that many staged rows have more than once are found without grouping all rows by their whole key."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.contract import TABLES
from rqa.store import keys
from rqa.store.keys import _met_twice
from tests.examples import examples
from tests.workspaces import engine

JOBS = st.sampled_from(["J1", "J2", "J3"])
NUMBERS = st.integers(0, 6) | st.sampled_from([-1, 119, 120, 10**12])
ROWS = {
    "steps": st.tuples(JOBS, NUMBERS, st.integers(1, 3)),
    "diagnostics": st.tuples(JOBS, st.sampled_from(["touch", "leak", "sound", "heat", "grip"]), st.integers(1, 3)),
    "parts": st.tuples(JOBS, NUMBERS),
}


@pytest.mark.parametrize("name", ROWS)
@settings(max_examples=examples(60), deadline=None)
@given(data=st.data(), most=st.sampled_from([3, keys.MOST_BITS]))
def test_keys_met_twice_are_those_that_a_count_of_each_finds(name: str, data: st.DataObject, most: int) -> None:
    """Held against a count in Python; so few rows are not looked at by bits, unless told so."""
    rows: list[tuple[Any, ...]] = data.draw(st.lists(ROWS[name], min_size=1, max_size=14))
    key = TABLES[name].key
    connection = engine()
    made = ", ".join(f"{k} {'VARCHAR' if isinstance(v, str) else 'BIGINT'}" for k, v in zip(key, rows[0], strict=True))
    connection.execute(f"create or replace temp table stage_{name} ({made})")
    connection.executemany(f"insert into stage_{name} values ({', '.join('?' * len(key))})", rows)
    connection.execute(f"create or replace temp view good_rows as from stage_{name}")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(keys, "MANY_ROWS", 0)
        patched.setattr(keys, "MOST_BITS", most)
        sql = _met_twice(connection, TABLES[name], key)
        assert "doubtful" in sql or len({r[1] for r in rows}) > most
        found = connection.execute(sql).fetchall()
    assert sorted(found) == sorted({r for r in rows if rows.count(r) > 1})
    keys._forget_bits(connection)
    connection.execute("drop view good_rows")
    connection.execute(f"drop table stage_{name}")
