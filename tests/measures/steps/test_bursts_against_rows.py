"""Counts for bursts, failures alike and failures met together against a slow row loop, on depots full of ties."""

from datetime import date, timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.measures.run import counts
from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures.small_depots import START, maybe, tables
from tests.measures.steps import by_hand_bursts

SLOW = settings(
    max_examples=examples(6), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
as_ofs = st.integers(0, 130).map(lambda d: START.date() + timedelta(days=d))
EVERY = ["time", "site", "model", "technician", "step", "bench", "tool", "lot"]


@st.composite
def fitted(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    """A small depot with lots of parts and fault codes."""
    made = draw(tables())
    made["parts"] = [
        completed("parts", {"job_id": f"J{draw(st.integers(0, 9))}", "line": i, "part_no": draw(maybe(("P1", "P2"))),
                            "lot": draw(maybe((None, "L1", "L2")))})
        for i in range(draw(st.integers(0, 8)))
    ]
    for step in made["steps"]:
        step["fault"] = draw(maybe((None, "F1", "F2")))
    return made


def asked(period: str, as_of: date, aside: list[Any]) -> dict[str, Any]:
    only = {f"only_{n}": [] for n in ("site", "model", "procedure", "technician", "billing")}
    columns = zip(*aside, strict=True) if aside else [[], [], [], []]
    named = ("aside_dimensions", "aside_parts", "aside_names", "aside_periods")
    return {
        "as_of": as_of, "period": period, "dimensions": EVERY, "kinds": [], "probabilities": [],
        "first_month": date(1, 1, 1), "last_month": date(9999, 1, 1), **only,
        **{name: list(column) for name, column in zip(named, columns, strict=True)},
    }


def as_dict(table: Any, keys: int) -> dict[Any, Any]:
    return {r[:keys] if keys > 1 else r[0]: r[keys:] if len(r) > keys + 1 else r[keys] for r in table.iter_rows()}


@SLOW
@given(data=fitted(), as_of=as_ofs, period=maybe(("week", "month")), which=st.lists(st.integers(0, 30), max_size=2))
def test_bursts(data: dict[str, Any], as_of: date, period: str, which: list[int]) -> None:
    with depot_of(data, as_of) as depot:
        for what in ("comebacks", "checks"):
            more = {"window": 30, "classes": ["repeat", "workmanship"]} if what == "comebacks" else {}
            args = (data, as_of, 30, period) if what == "comebacks" else (data, as_of, period)
            by_hand = getattr(by_hand_bursts, what)
            keys = sorted(by_hand(*args, set()))
            aside = [keys[i % len(keys)] for i in which] if keys else []
            found = counts(depot._store, f"bursts_{what}", values=asked(period, as_of, aside) | more)
            assert as_dict(found.drop("chance"), 4) == by_hand(*args, set(aside))


@SLOW
@given(data=fitted(), as_of=as_ofs, blind=st.booleans())
def test_signatures_and_pairs(data: dict[str, Any], as_of: date, blind: bool) -> None:
    unwritten = sorted({j["site"] for j in data["jobs"]})[:1] if blind else []
    values = {"window": 30, "as_of": as_of, "unwritten": unwritten}
    with depot_of(data, as_of) as depot:
        patterns = as_dict(counts(depot._store, "signatures", values=values), 1)
        assert patterns == by_hand_bursts.signatures(data, as_of, 30, unwritten)
        clusters = {p: 1 + i % 2 for i, p in enumerate(sorted(patterns)) if i != 2}
        named = {**values, "patterns": list(clusters), "clusters": list(clusters.values()),
                 "sites": unwritten, "written": ["nothing"] * len(unwritten)}
        there = as_dict(counts(depot._store, "signatures_placed", values=named), 7)
        assert there == by_hand_bursts.placed(data, as_of, 30, clusters, unwritten)
        pairs = as_dict(counts(depot._store, "co_failures", values={"window": 30, "as_of": as_of, "silent": []}), 4)
        assert pairs == by_hand_bursts.together(data, as_of, 30)


@SLOW
@given(data=fitted(), as_of=as_ofs)
def test_chances_add_up(data: dict[str, Any], as_of: date) -> None:
    """With a billion for every kind, chance is the cases; kinds add up to all."""
    with depot_of(data, as_of) as depot:
        values = asked("week", as_of, []) | {"window": 30, "classes": ["repeat"]}
        kinds = counts(depot._store, "bursts_comebacks", values=values | {"dimensions": ["kind"]})
        names = kinds["name"].unique().sort().to_list()
        told = values | {"kinds": names, "probabilities": [10**9] * len(names)}
        cells = counts(depot._store, "bursts_comebacks", values=told)
    assert (cells["chance"] == cells["cases"] * 10**9).all()
    assert kinds["cases"].sum() == cells.filter(cells["dimension"] == "time")["cases"].sum()
