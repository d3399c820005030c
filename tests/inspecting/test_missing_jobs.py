"""Where no jobs are loaded, the next line to add is the one that brings them, before the code of any word."""

from pathlib import Path

import rqa
from tests.propose.exports import at, jobs, table

TIME = "%Y-%m-%d %H:%M:%S"


def folder_without_units(folder: Path) -> Path:
    head = ["Order", "Opened", "Closed", "State", "Nr silnika", "Faktura"]
    rows = [[j.number, at(j.opened, TIME), at(j.closed, TIME), "repaired" if j.closed else "open", f"S{j.unit}",
             f"F{i % 25}"] for i, j in enumerate(jobs(40))]
    (folder / "orders.csv").write_text(table(head, rows, ","))
    steps = [[j.number, "seal", ("pass", "nie ok")[i % 2], at(j.opened, TIME)] for i, j in enumerate(jobs(40))]
    (folder / "steps.csv").write_text(table(["Order", "Step", "Result", "Finished"], steps, ","))
    rqa.propose(folder)
    return folder


def test_a_block_of_jobs_behind_marks_comes_first_with_the_name_to_fill(tmp_path: Path) -> None:
    path = folder_without_units(tmp_path) / "sources.toml"
    found = rqa.inspect(tmp_path)
    assert any(not w.code and w.word == "nie ok" for w in found.seen.words), "a word lacks its code, too"
    assert found.next_line.startswith("unit_id = \"…\" (could be 'Nr silnika' (")
    assert 'in the [[table]] of jobs from "orders", which stands behind #' in found.next_line
    assert "Next line to add, for most gain: unit_id" in found.text()
    path.write_text(path.read_text().replace('# unit_id = "…"', '# unit_id = "Nr silnika"'))
    assert "stands behind # in sources.toml: it is filled in, so take" in rqa.inspect(tmp_path).next_line
    head, _, rest = path.read_text().partition("# # Not complete")
    block, _, rest = f"# # Not complete{rest}".partition("\n\n")
    bare = "\n".join(line.removeprefix("# ") for line in block.splitlines())
    path.write_text(f"{head}{bare}\n\n{rest}")
    after = rqa.inspect(tmp_path)
    assert sum(f.accepted for f in after.report.files if f.table == "jobs") == 40
    assert "nie ok" in after.next_line


def test_without_a_block_a_table_of_jobs_comes_first(tmp_path: Path) -> None:
    made = rqa.propose(folder_without_units(tmp_path), update=True, write=False).mapping
    (tmp_path / "sources.toml").unlink()
    assert rqa.inspect(tmp_path, mapping=made).next_line.startswith('a [[table]] with table = "jobs" (')
