"""The generator: the same files for the same arguments, the promised number of jobs, at any size."""

import gzip
import json
import zipfile
from pathlib import Path

import openpyxl
import polars as pl
import pytest

import rqa
from rqa.demo import chunk, write
from rqa.demo.catalogue import SITES
from rqa.demo.clock import in_changed_hour, next_workday, offsets_of, to_utc
from tests.cases import some_slow

SAMPLE = Path(__file__).parents[2] / "sample_data"
MADE = ("alder", "birch", "cedar", "reference", "sources.toml", "truth.json")


def contents(folder: Path, *, unpacked: bool = False) -> dict[str, object]:
    """Each file's bytes, or what is packed in it: packers differ between machines, what they pack does not."""
    found: dict[str, object] = {}
    for path in sorted(p for name in MADE for p in [folder / name, *(folder / name).rglob("*")] if p.is_file()):
        data: object = path.read_bytes()
        if unpacked and path.suffix == ".gz":
            data = gzip.decompress(path.read_bytes())
        elif unpacked and path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as book:
                data = {name: book.read(name) for name in book.namelist()}
        found[path.relative_to(folder).as_posix()] = data
    return found


def test_same_arguments_give_the_same_bytes(tmp_path: Path) -> None:
    write(tmp_path / "a", jobs=300, months=5, seed=4)
    write(tmp_path / "b", jobs=300, months=5, seed=4)
    write(tmp_path / "c", jobs=300, months=5, seed=5)
    first = contents(tmp_path / "a")
    assert len(first) > 20
    assert first == contents(tmp_path / "b")
    assert first["truth.json"] != contents(tmp_path / "c")["truth.json"]


def test_plain_files_are_the_same_too(tmp_path: Path) -> None:
    for name in "ab":
        write(tmp_path / name, jobs=200, plain=True, seed=9)
    one, two = ({p.name: p.read_bytes() for p in (tmp_path / n).iterdir()} for n in "ab")
    assert one == two


def test_the_sample_is_what_the_generator_writes(tmp_path: Path) -> None:
    write(tmp_path)
    assert contents(tmp_path, unpacked=True) == contents(SAMPLE, unpacked=True)


def test_the_sample_stays_small() -> None:
    assert (
        sum(p.stat().st_size for name in MADE for p in [SAMPLE / name, *(SAMPLE / name).rglob("*")] if p.is_file())
        < 3e6
    )


@pytest.mark.parametrize("plain", some_slow([True, False], 1))
def test_chunks_make_one_depot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, plain: bool) -> None:
    monkeypatch.setattr(chunk, "CHUNK", 150)
    write(tmp_path, jobs=400, months=6, plain=plain)
    rqa.load(tmp_path)
    with rqa.open(tmp_path) as depot:
        held = depot.query("select count(*)::bigint as jobs, count(distinct job_id)::bigint as ids from jobs")
    if plain:
        assert held.row(0) == (400, 400)
    else:
        # Refused jobs are missing.
        refused = sum(t["jobs"]["refused"] for t in _truth(tmp_path)["files"].values() if "jobs" in t)
        later = sum(
            t["jobs"]["mess"].get("closing time sent later", 0)
            for t in _truth(tmp_path)["files"].values()
            if "jobs" in t
        )
        assert held.row(0) == (400 - refused + later,) * 2


def test_a_plain_depot_has_every_job_clean(tmp_path: Path) -> None:
    write(tmp_path, jobs=500, plain=True)
    report = rqa.load(tmp_path)
    assert report.total("read") == report.total("accepted")
    assert not report.refusals
    assert not report.remarks
    jobs = pl.read_csv(tmp_path / "jobs.csv")
    assert jobs.height == 500
    assert 20 <= pl.scan_csv(tmp_path / "steps.csv").select(pl.len()).collect().item() / 500 <= 26
    assert 11 <= pl.scan_csv(tmp_path / "diagnostics.csv").select(pl.len()).collect().item() / 500 <= 14


def test_workbooks_open_in_another_reader() -> None:
    book = openpyxl.load_workbook(next(iter(sorted((SAMPLE / "birch").glob("*.xlsx")))), read_only=True)
    assert book.sheetnames == ["Orders", "Work", "Checks", "Pieces"]
    header, first = list(book["Orders"].iter_rows(max_row=2, values_only=True))
    assert header[:3] == ("Order", "Serial", "Type")
    assert first[4].year == 2025


def test_files_say_what_they_should_of_encoding_and_marks() -> None:
    jobs = (SAMPLE / "alder" / "jobs_2025-01.csv").read_bytes()
    assert "Talão;Aparelho".encode("cp1252") in jobs
    with pytest.raises(UnicodeDecodeError):
        jobs.decode()
    line = json.loads((SAMPLE / "cedar" / "jobs_2025-h1.jsonl").read_text(encoding="utf-8").splitlines()[0])
    assert line["in"].endswith("+01:00")
    assert isinstance(line["asset"], dict)


def test_clocks() -> None:
    """2025-03-30: clocks in Lisbon skip 01:00 to 02:00; on 2025-10-26 that hour comes twice (EU rule: 01:00 UTC)."""
    day = pl.Series([88, 298]).to_numpy()  # days after 2025-01-01
    wall = day * 1440 + 90
    assert in_changed_hour(wall, "Europe/Lisbon").tolist() == [1, 2]
    assert offsets_of(wall + 60, "Europe/Lisbon").tolist() == [60, 0]
    site = pl.Series([0, 0]).to_numpy()
    assert SITES[0].zone == "Europe/Lisbon"
    assert (to_utc(wall, site) - wall).tolist() == [0, -60]
    # 2025-01-03 is a Friday: one working day on is Monday the 6th; a Saturday rolls to Monday.
    assert next_workday(pl.Series([2, 3]).to_numpy(), pl.Series([1, 0]).to_numpy()).tolist() == [5, 5]


def _truth(folder: Path) -> dict:
    return json.loads((folder / "truth.json").read_text(encoding="utf-8"))
