"""A check sheet whose words are not known is recognised by its structure, and its words are left to be given codes."""

import tomllib
from pathlib import Path

import pytest

import rqa
from rqa.proposals import Proposal, propose
from tests.propose.exports import at, jobs, table

TIME = "%Y-%m-%d %H:%M:%S"
HEAD = ["Order", "Serial", "Model", "Opened", "Closed", "State"]
CHECKS = ("Izolacja", "Szczelność", "Czujnik momentu", "Hałas")


def proposal(folder: Path, words: tuple[str, ...], heads: tuple[str, ...] = CHECKS, *, first: int = 0) -> Proposal:
    """What is proposed for jobs and a sheet with a column for each of `heads`; the last never has the second word."""
    rows = [[j.number, f"S{j.unit}", j.model, at(j.opened, TIME), at(j.closed, TIME), "repaired"] for j in jobs(40)]
    (folder / "jobs.csv").write_text(table(HEAD, rows, ","))
    sheet = [[f"{j.number}{first or ''}", at(j.opened, TIME), ("H1", "H2")[i % 2],
              *(words[(i + k) % len(words)] for k in range(len(heads) - 1)), words[0], f"{1.5 + i / 100:.2f}"]
             for i, j in enumerate(jobs(40))]
    (folder / "karta.csv").write_text(table(["Zlecenie", "Dzień próby", "Hamownia", *heads, "Prąd [A]"], sheet, ","))
    return propose(folder)


@pytest.mark.parametrize("words", [
    ("dobrze", "źle"), ("dobrze", "źle", "pominięto"), ("bra", "dålig", "vet ej", "sen"),
])
def test_columns_that_share_words_are_taken_for_checks(tmp_path: Path, words: tuple[str, ...]) -> None:
    made = proposal(tmp_path, words)
    (entry,) = [e for e in made.mapping["table"] if e["table"] != "jobs"]
    assert entry["columns_to_rows"] == {"name": "test", "value": "outcome", "columns": list(CHECKS)}
    assert (entry["table"], entry["columns"]["job_id"], entry["columns"]["run_at"]) == (
        "diagnostics", "Zlecenie", "Dzień próby")
    assert "karta.diagnostics" in made.checks
    assert "check this: 160 values are refused until each of the texts has a code" in made.text


def test_the_words_filled_in_make_a_row_a_check(tmp_path: Path) -> None:
    made = proposal(tmp_path, ("dobrze", "źle"))
    (line,) = [x.removeprefix("#").strip() for x in made.text.splitlines() if x.startswith("#   outcome = ")]
    words = tomllib.loads(line)["outcome"]["values"]
    assert words == {"dobrze": "…", "źle": "…"}
    text = made.text.replace('\noutcome = "outcome"', "\n" + line.replace('dobrze = "…"', 'dobrze = "pass"').replace(
        '"źle" = "…"', '"źle" = "fail"') + "\n# was: ")
    report = rqa.load(tmp_path, mapping=tomllib.loads(text), write=False)
    assert sum(f.accepted for f in report.files if f.table == "diagnostics") == 40 * len(CHECKS)


@pytest.mark.parametrize(("words", "heads", "first"), [
    (("dobrze", "źle"), CHECKS[:2], 0),
    (("dobrze", "źle"), CHECKS, 77),
    (("j", "n"), CHECKS, 0),
    (("M. Kos", "A. Wrona"), CHECKS, 0),
    (("dobrze i bez żadnych uwag do tej próby", "źle"), CHECKS, 0),
    (("a1", "b", "c", "d", "e"), CHECKS, 0),
], ids=["two columns", "ids of no job", "yes and no", "people", "notes", "many words"])
def test_what_only_looks_like_a_check_sheet_is_none(
    tmp_path: Path, words: tuple[str, ...], heads: tuple[str, ...], first: int
) -> None:
    made = proposal(tmp_path, words, heads, first=first)
    assert not [e for e in made.mapping["table"] if "columns_to_rows" in e]
