"""The cost of come-backs against a slow row loop, on depots with unknown minutes and prices, and goodwill chains."""

from collections import Counter, defaultdict
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rqa.measures.run import counts
from tests.depots import completed, depot_of
from tests.examples import examples
from tests.measures.by_hand import Row, Tables, first_of_month, known, links
from tests.measures.small_depots import START, jobs, procedures, steps

FEW = settings(
    max_examples=examples(25), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
NAMES = ("month", "site", "model", "procedure", "billing", "class")
SUMS = ("comebacks", "known", "cents", "labour", "parts", "freight", "goodwill", "twice", "still_open", "no_costs",
        "no_rate", "no_labour", "no_parts", "no_freight", "unbilled", "without_labour", "without_parts",
        "without_freight")
maybe = st.sampled_from


@st.composite
def costly(draw: st.DrawFn) -> dict[str, list[dict[str, Any]]]:
    made = draw(jobs())
    mapped = {name: draw(maybe((True, True, False))) for name in ("labour_minutes", "parts_cost", "freight_cost")}
    for job in made:
        job["labour_minutes"] = draw(maybe((None, 0.0, 30.0, 45.0)))
        job["parts_cost"] = draw(maybe((None, None, 0.0, 12.34)))
        job["freight_cost"] = draw(maybe((None, 5.0, 7.5)))
        job |= {name: None for name, there in mapped.items() if not there}
        job["billing"] = draw(maybe((None, "paid", "goodwill", "goodwill")))
    parts = [
        completed("parts", {"job_id": f"J{job}", "line": line, "part_no": "P1",
                            "quantity": draw(maybe((1.0, 2.0, None))), "unit_cost": draw(maybe((3.25, 10.0, None)))})
        for job in range(10) for line in range(draw(maybe((0, 0, 1, 2))))
    ]
    return {"jobs": made, "steps": draw(steps()), "procedures": draw(procedures()), "parts": parts}


def cents(amount: float | None) -> int | None:
    """Hundredths, halves away from 0."""
    return None if amount is None else int(Fraction(amount) * 100 + Fraction(1, 2))


def parts_of(job: Row, tables: Tables) -> float | None:
    if job["parts_cost"] is not None:
        return float(job["parts_cost"])
    lines = [p for p in tables["parts"] if p["job_id"] == job["job_id"]]
    if not lines or any(p["quantity"] is None or p["unit_cost"] is None for p in lines):
        return None
    return float(sum(p["quantity"] * p["unit_cost"] for p in lines))


def amounts(job: Row, tables: Tables, rate: float) -> dict[str, float | None]:
    labour = None if rate == 0 or job["labour_minutes"] is None else job["labour_minutes"] / 60 * rate
    return {"labour": labour, "parts": parts_of(job, tables), "freight": job["freight_cost"]}


def counted(site: str, tables: Tables, rate: float) -> set[str]:
    """The parts of a cost that any job of the site gives; a parts list counts from its first priced line."""
    there = [j for j in tables["jobs"] if j["site"] == site]
    found = {name for j in there for name, amount in amounts(j, tables, rate).items() if amount is not None}
    priced = {p["job_id"] for p in tables["parts"] if p["quantity"] is not None and p["unit_cost"] is not None}
    return found | ({"parts"} if any(j["job_id"] in priced for j in there) else set())


def pieces(job: Row, tables: Tables, rate: float) -> dict[str, int | None]:
    there = counted(job["site"], tables, rate)
    return {name: cents(v) if name in there else 0 for name, v in amounts(job, tables, rate).items()}


def by_hand(tables: Tables, by: tuple[str, ...], *, window: int, as_of: date, rate: float) -> dict[Any, Counter[str]]:
    seen = [
        (index, back, kind) for index, back, gap, kind in links(tables).values()
        if index["disposition"] == "repaired" and back is not None and gap is not None and gap <= window
        and back["opened_on"] <= as_of
    ]
    came_back = {back["job_id"] for _, back, _ in seen}
    found: dict[Any, Counter[str]] = defaultdict(Counter)
    for index, back, kind in seen:
        place = {n: known(index[n]) for n in ("site", "model", "procedure", "billing")}
        row = found[tuple({**place, "month": first_of_month(back["opened_on"]), "class": kind}[n] for n in by)]
        free = index["billing"] == "goodwill"
        own, before = pieces(back, tables, rate), pieces(index, tables, rate)
        row["comebacks"] += 1
        row["unbilled"] += index["billing"] is None
        if back["closed_on"] is None or back["closed_on"] > as_of:
            row["still_open"] += 1
            continue
        if not counted(back["site"], tables, rate):
            row["no_costs"] += 1
            row["no_rate"] += any(
                j["labour_minutes"] is not None for j in tables["jobs"] if j["site"] == back["site"]
            )
            continue
        missing = [n for n in own if own[n] is None or (free and before[n] is None)]
        if missing:
            row[f"no_{missing[0]}"] += 1
            continue
        goodwill = sum(v or 0 for v in before.values()) if free else 0
        row["known"] += 1
        both = counted(back["site"], tables, rate) & (counted(index["site"], tables, rate) if free else set(own))
        for name in own.keys() - both:
            row[f"without_{name}"] += 1
        row["goodwill"] += goodwill
        row["twice"] += goodwill if index["job_id"] in came_back else 0
        row["cents"] += goodwill + sum(v or 0 for v in own.values())
        for name, value in own.items():
            row[name] += value or 0
    return found


@FEW
@given(
    data=costly(), as_of=st.integers(0, 130).map(lambda d: START.date() + timedelta(days=d)), window=maybe((0, 30, 90)),
    rate=maybe((0.0, 36.0, 41.5)), by=st.lists(maybe(NAMES), unique=True, max_size=2).map(tuple),
)
def test_costs(
    data: dict[str, list[dict[str, Any]]], as_of: date, window: int, rate: float, by: tuple[str, ...]
) -> None:
    values = {"window": window, "as_of": as_of, "disposition": "repaired", "rate": rate}
    with depot_of(data) as depot:
        table = counts(depot._store, "comeback_costs", by=by, values=values)
    found = {tuple(r[n] for n in by): {n: r[n] for n in SUMS} for r in table.iter_rows(named=True) if r["comebacks"]}
    expected = by_hand(data, by, window=window, as_of=as_of, rate=rate)
    assert found == {key: {n: row[n] for n in SUMS} for key, row in expected.items()}
