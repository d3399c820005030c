"""A block that lacks a needed column: taken literally, what its first line says makes TOML of it."""

import tomllib
from pathlib import Path

from rqa.proposals import propose
from rqa.proposals.left_out import blocks_left_out
from tests.propose.exports import at, jobs, table

TIME = "%Y-%m-%d %H:%M:%S"


def without_unit(folder: Path) -> str:
    """The mapping proposed for jobs whose unit stands under a header that is not known."""
    head = ["Order", "Opened", "Closed", "State", "Billing", "Nr silnika", "Faktura", "Note"]
    rows = [[j.number, at(j.opened, TIME), at(j.closed, TIME), "repaired", ("warranty", "own cost")[i % 2],
             f"S{j.unit}", f"F{i % 25}", ("", "urgent")[i % 2]] for i, j in enumerate(jobs(40))]
    (folder / "jobs.csv").write_text(table(head, rows, ","))
    return propose(folder).text


def block_of(text: str) -> list[str]:
    """The lines of the block, from what is said of it to the empty line."""
    return text[text.index("# # Not complete"):].split("\n\n")[0].splitlines()


def test_the_first_mark_taken_off_each_line_leaves_toml(tmp_path: Path) -> None:
    text = without_unit(tmp_path)
    lines = block_of(text)
    assert "take the first # off each line of this block" in lines[0]
    assert all(line.startswith("# ") for line in lines)
    filled = [line.replace('unit_id = "…"', 'unit_id = "Nr silnika"') for line in lines]
    taken_off = "\n".join(line.removeprefix("# ") for line in filled)
    (entry,) = tomllib.loads(text.replace("\n".join(lines), taken_off))["table"]
    assert (entry["table"], entry["from"]) == ("jobs", "jobs")
    columns = entry["columns"]
    assert (columns["job_id"], columns["unit_id"], columns["opened_at"]) == ("Order", "Nr silnika", "Opened")
    assert any("texts without a code: 'own cost' (20)" in line for line in lines), "an explanation"
    assert "billing" not in columns, "what need not be filled stays behind #"


def test_a_needed_column_lists_what_it_could_be_the_most_likely_first(tmp_path: Path) -> None:
    text = without_unit(tmp_path)
    (block,) = blocks_left_out(text)
    assert (block.table, block.source, list(block.unfilled)) == ("jobs", "jobs", ["unit_id"])
    named = block.unfilled["unit_id"]
    units = len({j.unit for j in jobs(40)})
    assert named.startswith(f"could be 'Nr silnika' ({units} different values in 40 rows) or 'Faktura' (25 ")
    assert "Order" not in named, "it is used"
    assert "Opened" not in named, "a time"
    filled = text.replace('unit_id = "…"', 'unit_id = "Nr silnika"')
    assert [b.unfilled for b in blocks_left_out(filled)] == [{}]
    assert blocks_left_out(text.replace("# [[table]]", "[[table]]")) == []


def test_a_table_of_weak_evidence_is_marked_and_one_of_sure_columns_is_not(tmp_path: Path) -> None:
    head = ["Order", "Serial", "Model", "Opened", "Closed", "State"]
    rows = [[j.number, f"S{j.unit}", j.model, at(j.opened, TIME), at(j.closed, TIME), "repaired"] for j in jobs(40)]
    (tmp_path / "jobs.csv").write_text(table(head, rows, ","))
    weak = [[j.number, ("torque", "seal")[i % 2], at(j.opened, TIME)] for i, j in enumerate(jobs(40))]
    (tmp_path / "sheet.csv").write_text(table(["Order", "Step", "Day"], weak, ","))
    sure = [[j.number, step, "pass", at(j.opened, TIME)] for j in jobs(40) for step in ("torque", "seal")]
    (tmp_path / "log.csv").write_text(table(["Order", "Step", "Result", "Finished"], sure, ","))
    made = propose(tmp_path)
    assert 'table = "steps"  # check this: outcome was not found for sure\nfrom = "sheet"' in made.text
    assert 'table = "steps"\nfrom = "log"' in made.text
    assert 'table = "jobs"\nfrom = "jobs"' in made.text
    assert {c for c in made.checks if c.endswith((".steps", ".jobs"))} == {"sheet.steps"}
