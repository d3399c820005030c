"""`rqa action`: improvements added to a workspace and listed, and what it says of bad input."""

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

import rqa
from rqa.cli import main
from rqa.intake.own_actions import own_actions, with_own_actions
from rqa.review.ledger import Record, keep
from tests.workspaces import csv_of, job

MAPPING = '[files.jobs]\npath = "jobs.csv"\n\n[[table]]\ntable = "jobs"\nfrom = "jobs"\n'
SCOPE = ("--scope", "site=Alder; model=Quern")
GIVEN = ("--what", "tape, held", "--started-on", "2024-02-01", *SCOPE)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What each test has a copy of."""
    folder = tmp_path_factory.mktemp("loaded")
    (folder / "sources.toml").write_text(MAPPING, encoding="utf-8")
    (folder / "jobs.csv").write_text(csv_of(job("J1"), job("J2", unit_id="U2")), encoding="utf-8")
    rqa.load(folder)
    return folder


@pytest.fixture
def workspace(loaded: Path, tmp_path: Path) -> Path:
    return shutil.copytree(loaded, tmp_path, dirs_exist_ok=True)


def run(workspace: Path, *words: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["action", str(workspace), *words])
    return result.exit_code, result.output


def test_an_action_is_added_loaded_and_listed(workspace: Path) -> None:
    code, said = run(workspace)
    assert code == 0
    assert said.startswith("No actions yet. Add one: rqa action")
    code, said = run(workspace, *GIVEN, "--expected", "by a third", "--owner", "lead", "--finding", "F-1a2b3c4d")
    assert code == 0, said
    assert f"ACT-1 written to {workspace / 'actions.csv'}" in said
    assert "Expected: come-backs x0.67." in said
    assert f"rqa load {workspace}" in said
    code, said = run(workspace)
    assert "ACT-1  tape, held" in said
    assert "since 2024-02-01, site=Alder; model=Quern: not loaded yet" in said
    rqa.load(workspace)
    with rqa.open(workspace) as depot:
        (row,) = depot.query("select * exclude (source_row) from actions").to_dicts()
    assert {name: str(value) for name, value in row.items() if value is not None} == {
        "action_id": "ACT-1", "what": "tape, held", "started_on": "2024-02-01", "scope": "site=Alder; model=Quern",
        "finding_id": "F-1a2b3c4d", "owner": "lead", "expected_change": "by a third", "source_file": "actions.csv",
    }
    code, said = run(workspace)
    assert "cannot be told\n  Cannot be told: whether come-backs became fewer, as " in said
    before = job("J0", opened_at="2023-12-01 10:00:00", closed_at="2023-12-02 10:00:00")
    (workspace / "jobs.csv").write_text(csv_of(before, job("J1")), encoding="utf-8")
    rqa.load(workspace)
    code, said = run(workspace)
    assert ": too early, expected " in said


def test_an_action_that_cannot_be_judged_says_why(workspace: Path) -> None:
    """The page leaves the scope out, as it may name a person, and refers to this."""
    given = ["action_id,what,started_on,scope", "ACT-1,tape,2024-02-01,colour=red"]
    (workspace / "actions.csv").write_text("\n".join(given) + "\n", encoding="utf-8")
    rqa.load(workspace)
    code, said = run(workspace)
    assert code == 0
    assert "cannot be judged\n  ACT-1: a scope cannot name 'colour'" in said


def test_ids_go_on_and_a_second_load_keeps_all(workspace: Path) -> None:
    run(workspace, *GIVEN)
    rqa.load(workspace)
    code, said = run(workspace, "--what", 'say "hi"', "--started-on", "2024-02-02", *SCOPE, "--closed-on", "2024-03-01")
    assert code == 0, said
    assert said.startswith("ACT-2 written")
    rqa.load(workspace)
    with rqa.open(workspace) as depot:
        found = depot.query("select action_id, what, cast(closed_on as varchar) from actions order by 1").rows()
    assert found == [("ACT-1", "tape, held", None), ("ACT-2", 'say "hi"', "2024-03-01")]
    assert [p.name for p in workspace.glob("actions.csv*")] == ["actions.csv"]


def test_actions_of_mapped_sources_and_own_ones_stand_side_by_side(workspace: Path) -> None:
    more = '\n[files.acts]\npath = "acts.csv"\n\n[[table]]\ntable = "actions"\nfrom = "acts"\n'
    (workspace / "sources.toml").write_text(MAPPING + more, encoding="utf-8")
    (workspace / "acts.csv").write_text("action_id,what,started_on,scope\nACT-7,glue,2024-01-05,site=Alder\n", "utf-8")
    rqa.load(workspace)
    code, said = run(workspace, *GIVEN)
    assert code == 0, said
    assert said.startswith("ACT-8 written")
    rqa.load(workspace)
    with rqa.open(workspace) as depot:
        assert depot.query("select action_id from actions order by 1")["action_id"].to_list() == ["ACT-7", "ACT-8"]


def test_a_mapping_that_reads_the_file_itself_reads_it_once(workspace: Path) -> None:
    more = '\n[files.acts]\npath = "act*.csv"\n\n[[table]]\ntable = "actions"\nfrom = "acts"\n'
    (workspace / "actions.csv").write_text("action_id,what,started_on,scope\nA,glue,2024-01-05,site=Alder\n", "utf-8")
    (workspace / "sources.toml").write_text(MAPPING + more, encoding="utf-8")
    report = rqa.load(workspace)
    assert [f.source_file for f in report.files].count("actions.csv") == 1


def test_columns_of_a_file_kept_by_hand_are_kept(workspace: Path) -> None:
    header = "action_id,what,started_on,scope,remark\n"
    (workspace / "actions.csv").write_text(f"\ufeff{header}ACT-1,glue,2024-01-05,site=Alder,mine\n", encoding="utf-8")
    code, said = run(workspace, *GIVEN, "--owner", "lead")
    assert code == 0, said
    first, second = own_actions(workspace)
    assert (first["action_id"], first["remark"], first["owner"]) == ("ACT-1", "mine", "")
    assert (second["action_id"], second["remark"], second["owner"]) == ("ACT-2", "", "lead")


def test_an_id_is_new_to_the_store_and_another_list_is_told(workspace: Path) -> None:
    """Where the mapping reads actions from a file of its own, the new one stands beside it, under an id of its own."""
    (workspace / "ref").mkdir()
    header = "action_id,what,started_on,scope"
    (workspace / "ref" / "actions.csv").write_text(f"{header}\nACT-4,glue,2024-01-05,site=Alder\n", encoding="utf-8")
    more = '\n[files.acts]\npath = "ref/actions.csv"\n\n[[table]]\ntable = "actions"\nfrom = "acts"\n'
    (workspace / "sources.toml").write_text(MAPPING + more, encoding="utf-8")
    rqa.load(workspace)
    code, said = run(workspace, *GIVEN)
    assert code == 0, said
    assert "ACT-5 written to" in said
    assert (
        "The mapping reads actions from ref/actions.csv too; this one is kept in actions.csv of the workspace" in said
    )
    rqa.load(workspace)
    with rqa.open(workspace) as depot:
        assert depot.query("select action_id from actions order by 1")["action_id"].to_list() == ["ACT-4", "ACT-5"]


def test_a_mapping_without_the_file_is_left_alone(tmp_path: Path) -> None:
    assert with_own_actions({"files": {"a": {}}}, tmp_path) == {"files": {"a": {}}}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--what", "x"), "to add an action give --started-on, --scope too"),
        (("--owner", "lead"), "to add an action give --what, --started-on, --scope too"),
        (("--what", " ", "--started-on", "2024-02-01", *SCOPE), "what is empty"),
        (("--what", "x", "--started-on", "soon", *SCOPE), "started-on: 'soon' is no day; write it like"),
        (("--what", "x", "--started-on", "2024-02-30", *SCOPE), "'2024-02-30' is no day"),
        ((*GIVEN, "--closed-on", "2024-01-31"), "closed-on 2024-01-31, is before the start, started-on 2024-02-01"),
        ((*GIVEN, "--finding", "F-1"), "'F-1' is no finding's id; one looks like F-1a2b3c4d"),
        ((*GIVEN[:4], "--scope", "site=Aldr"), "there is no site 'Aldr' in the store. There is: Alder."),
        ((*GIVEN[:4], "--scope", "sites=Alder"), "a scope cannot name 'sites'. It can name site"),
        ((*GIVEN[:4], "--scope", "site=Alder; bench"), "the part 'bench' is no filter"),
        ((*GIVEN[:4], "--scope", "technician=T99"), "no technician 'T99' in the store (0 others)"),
        ((*GIVEN[:4], "--scope", "step=close case"), "there is no step 'close case' in the store"),
        (("--what", "x\x07", "--started-on", "2024-02-01", *SCOPE), "signs that cannot be printed"),
    ],
)
def test_bad_input_writes_nothing_and_says_why(workspace: Path, words: tuple[str, ...], said: str) -> None:
    code, told = run(workspace, *words)
    assert code == 1
    assert told.startswith("rqa: ")
    assert said in told
    assert not (workspace / "actions.csv").exists()


def test_the_same_action_twice_and_files_that_are_none(workspace: Path, tmp_path: Path) -> None:
    run(workspace, *GIVEN)
    before = (workspace / "actions.csv").read_text(encoding="utf-8")
    code, said = run(workspace, *GIVEN)
    assert (code, said) == (1, "rqa: this action is there already: ACT-1.\n")
    assert (workspace / "actions.csv").read_text(encoding="utf-8") == before
    for text, why in (
        ("action_id;what\n", "lacks the columns action_id, what, started_on, scope"),
        ("action_id,what,started_on,scope\nA,b,2024-01-05,site=Alder,more\n", "row 2 has more fields"),
    ):
        (workspace / "actions.csv").write_text(text, encoding="utf-8")
        code, said = run(workspace, *GIVEN)
        assert code == 1
        assert why in said
    (workspace / "actions.csv").write_bytes(b"\xff\xfe\x00")
    code, said = run(workspace, *GIVEN)
    assert "is no UTF-8 text" in said


def test_a_workspace_without_store_says_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "sources.toml").write_text(MAPPING, encoding="utf-8")
    code, said = run(tmp_path, *GIVEN)
    assert code == 1
    assert "there is no store. Make one with `rqa load" in said


def test_a_finding_that_nobody_knows_is_told_at_once_and_kept(workspace: Path) -> None:
    """It may stand on a page written elsewhere, so it is no error; one that a page here named is known."""
    code, said = run(workspace, *GIVEN, "--finding", "F-1a2b3c4d")
    assert code == 0
    assert "F-1a2b3c4d is no finding of the last month, of the one before, or of a page written here." in said
    assert own_actions(workspace)[0]["finding_id"] == "F-1a2b3c4d"
    keep(workspace, (), Record("2024-02", "2024-03-01", "x", {"findings": ("February 2024", "F-1a2b3c4d, F-00000001")}))
    code, said = run(workspace, *GIVEN[:3], "2024-02-03", *SCOPE, "--finding", "F-1a2b3c4d")
    assert code == 0
    assert "is no finding" not in said
    code, said = run(workspace, *GIVEN[:3], "2024-02-04", *SCOPE, "--finding", "F-1a2b3c4e")
    assert "Did you mean 'F-1a2b3c4d'?" in said


def test_days_before_the_data_are_told_at_once(workspace: Path) -> None:
    code, said = run(workspace, *GIVEN[:3], "2023-02-01", *SCOPE, "--closed-on", "2023-05-01")
    assert code == 0
    assert "It starts before the first day with data, 2024-03-01: check the day." in said
    assert "It is closed before the first day with data, 2024-03-01: check the day." in said
