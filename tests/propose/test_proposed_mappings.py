"""A proposed mapping against the truth of many exports: it loads, most is right, no wrong guess is unmarked."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rqa.intake.draft import parse_mapping
from rqa.proposals import Proposal, propose
from rqa.store.load import load
from tests.cases import some_slow
from tests.propose.exports import SHOPS, Shop, bare_codes
from tests.propose.other_exports import OTHERS


def source_of(given: Any) -> Any:
    """The source column of a line of `[table.columns]`; the columns that are joined; None for a stand-in."""
    if isinstance(given, str):
        return given
    return given.get("join") or given.get("column")


def compared(shop: Shop, made: Proposal) -> tuple[int, list[str], list[str]]:
    """How many columns are right, which are wrong though marked, and which are wrong and not marked."""
    plain = tomllib.loads(made.text)
    right, marked, unmarked = 0, list[str](), list[str]()
    used = set[int]()
    for (part, table), columns in shop.truth.items():
        entry = next(
            ((i, e) for i, e in enumerate(plain.get("table", ())) if i not in used and e["table"] == table
             and "from" in e and "columns_to_rows" not in e and part in str(plain["files"][e["from"]].values())), None,
        )
        if entry is None:
            marked += [f"{part}: no table {table}"] * len(columns)
            continue
        used.add(entry[0])
        given = entry[1]["columns"]
        name = entry[1]["from"]
        for column, source in columns.items():
            if column in given and (source_of(given[column]) == source):
                right += 1
            elif column not in given or f"{name}.{column}" in made.checks:
                marked.append(f"{part}: {column} = {given.get(column)}, not {source}")
            else:
                unmarked.append(f"{part}: {column} = {given[column]}, not {source}")
        unmarked += [
            f"{part}: {c} = {g}, which the export does not have" for c, g in given.items()
            if c not in columns and f"{name}.{c}" not in made.checks
        ]
    return right, marked, unmarked


def test_what_words_do_not_tell_is_told_by_values_or_marked(tmp_path: Path) -> None:
    right = whole = 0
    for shop_of in OTHERS:
        folder = tmp_path / shop_of.__name__
        folder.mkdir()
        shop = shop_of(folder)
        made = propose(folder)
        parse_mapping(tomllib.loads(made.text))
        found, _, unmarked = compared(shop, made)
        assert unmarked == [], shop_of.__name__
        right, whole = right + found, whole + sum(len(c) for c in shop.truth.values())
    assert right >= 0.9 * whole


@pytest.mark.parametrize("shop_of", some_slow(SHOPS, 4), ids=lambda f: f.__name__)
def test_the_mapping_loads_and_no_wrong_guess_is_unmarked(shop_of: Callable[[Path], Shop], tmp_path: Path) -> None:
    shop = shop_of(tmp_path)
    made = propose(tmp_path)
    plain = tomllib.loads((tmp_path / "sources.toml").read_text(encoding="utf-8"))
    parse_mapping(plain)
    right, marked, unmarked = compared(shop, made)
    whole = sum(len(c) for c in shop.truth.values())
    assert unmarked == []
    assert right >= 0.9 * whole, marked
    for part, forms in shop.times.items():
        (spec,) = (f for f in plain["files"].values() if part in str(f))
        assert list(spec.get("times", ())) == list(forms), part
    for entry in plain["table"]:
        for given in entry["columns"].values():
            if isinstance(given, dict) and "values" in given:
                truth = shop.values[given["column"]]
                assert {k: v for k, v in given["values"].items() if truth.get(k, v) != v} == {}
    report = load(tmp_path, version="0", keep=lambda connection, before: None, write=False)
    assert all(f.adds_up for f in report.files)
    accepted = {t: sum(f.accepted for f in report.files if f.table == t) for t in ("jobs", *shop.others)}
    assert accepted == {"jobs": shop.accepted} | shop.others


def test_a_status_of_unknown_letters_refuses_no_row_unless_it_is_needed(tmp_path: Path) -> None:
    bare_codes(tmp_path)
    made = propose(tmp_path)
    columns = tomllib.loads(made.text)["table"][0]["columns"]
    assert (columns["disposition"], "billing" in columns) == ("STATUS", False)
    assert {"jobs_dat.disposition", "jobs_dat.billing"} <= set(made.checks)
    filled = made.text.replace('# billing = { column = "PAYER", values = { "P" = "…", "W" = "…" } }',
                               'billing = { column = "PAYER", values = { P = "paid", W = "warranty" } }')
    assert tomllib.loads(filled)["table"][0]["columns"]["billing"]["values"] == {"P": "paid", "W": "warranty"}
