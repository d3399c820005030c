"""A record that is longer than may be read is refused as one; what stands in its quotes is never read as rows."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rqa.intake import overlong, quotes
from rqa.intake.mapping import Files
from rqa.intake.overlong import NOT_CLOSED, TOO_LONG, unfit_records
from rqa.intake.quotes import LONGEST_LINE, Quotes, SourceLine, lines_of
from rqa.intake.sources import SourceFile
from tests.cases import some_slow
from tests.examples import examples
from tests.workspaces import Workspace, job

ROW_LIKE = ",".join(job("J9999").values())
NOTES: dict[str, str] = {
    "lines that look like rows": f"{ROW_LIKE}\n",
    "a thousand lines": "x" * 2_000 + "\n",
    "a million short lines": "x,\n",
    "one line": "x",
    "quotes": 'he said "no"' * 99 + "\n",
    "cp1252": "é, " * 99 + "\n",
    "two bytes at a line end": "x,\r\n",
}

FAST = ["lines that look like rows", "a thousand lines", "one line", "quotes", "cp1252"]
NEAR = [LONGEST_LINE - 1000, LONGEST_LINE + 50_000]


def records(text: str) -> int:
    csv.field_size_limit(1 << 30)
    return sum(1 for row in csv.reader(io.StringIO(text, newline="")) if row) - 1


def file_with(note: str) -> str:
    rows = [job(f"J{n}") for n in range(3)]
    rows[1]["complaint"] = note
    out = io.StringIO()
    writer = csv.DictWriter(out, list({**rows[0], **rows[1]}), restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "size"), some_slow([*((n, 3_000_000) for n in NOTES), *((n, s) for n in FAST for s in NEAR)], 4)
)
def test_a_long_note_is_one_record(ws: Workspace, name: str, size: int) -> None:
    unit = NOTES[name]
    # Doubled quotes count: the record is as long as it stands in the file.
    note = unit * (size // len(unit.replace('"', '""').encode()))
    encoding = "cp1252" if name == "cp1252" else "utf-8"
    text = file_with(note)
    report = ws.jobs(text.encode(encoding), encoding=encoding)
    assert report.total("read") == records(text) == 3
    fits = size < LONGEST_LINE
    assert report.total("accepted") == (3 if fits else 2)
    assert ws.rows("select job_id from jobs order by 1") == [(f"J{n}",) for n in range(3) if fits or n != 1]
    if fits:
        assert ws.one("select complaint from jobs where job_id = 'J1'").split() == note.split()
    else:
        assert ws.rows("select source_row, rule from refused") == [(3, TOO_LONG)]


@pytest.mark.parametrize("over", range(-2, 3))
def test_the_limit_is_the_same_to_the_byte(ws: Workspace, over: int) -> None:
    empty = file_with("\n\n")
    around = len("J1" + empty.split("J1", 1)[1].split("J2")[0])
    note = "x" * (LONGEST_LINE + over - around) + "\n\n"
    report = ws.jobs(file_with(note))
    assert report.total("read") == 3
    assert report.total("refused") == (over > 0)


def test_strays_do_not_hide_a_long_record(ws: Workspace) -> None:
    """A quote within a text opens nothing, though it makes the number of quotes odd."""
    lines = file_with(f"{ROW_LIKE}\n" * 33_000).split("\n")
    lines[1] += '5" glass'
    lines[-2] += '7" glass'
    report = ws.jobs("\n".join(lines))
    assert (report.total("read"), report.total("accepted"), report.total("refused")) == (3, 2, 1)


def test_a_quote_never_closed_behind_a_long_field_leaves_that_whole(ws: Workspace) -> None:
    note = f"{ROW_LIKE}\n" * 20_000
    head, tail = file_with(note).split("\nJ2,")
    rows = "".join(f"{','.join(job(f'K{n}').values())},\n" for n in range(20_000))
    broken = head + ',"never closed\n' + "J2," + tail + rows
    report = ws.jobs(broken)
    assert report.total("read") == 20_003
    assert ws.rows("select source_row, rule from refused") == [(3, NOT_CLOSED)]


SIGNS = st.text('ab,"\n', max_size=40)


def small(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    for module in (quotes, overlong):
        monkeypatch.setattr(module, "LONGEST_LINE", size)


@settings(max_examples=examples(200))
@given(rows=st.lists(st.lists(SIGNS, min_size=3, max_size=3), min_size=1, max_size=8), limit=st.integers(8, 60))
def test_records_of_any_file_that_is_well_formed(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]], limit: int
) -> None:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    spans = []
    for row in rows:
        before = out.getvalue()
        writer.writerow(row)
        spans.append((before.count("\n"), out.getvalue().count("\n") - 1, len(out.getvalue()) - len(before)))
    path = tmp_path_factory.mktemp("any") / "f.csv"
    path.write_text(out.getvalue(), newline="")
    source = SourceFile("f", path, "csv", Files(path=["f.csv"]), "f.csv")
    with pytest.MonkeyPatch.context() as patch:
        small(patch, limit)
        found = unfit_records(source, Quotes(b'"', b","), 0)
    assert [(c.first, c.last, c.size) for c in found] == [s for s in spans if s[2] > limit]


@settings(max_examples=examples(300))
@given(line=st.text('a,"', max_size=60), limit=st.integers(1, 12), inside=st.booleans())
def test_a_line_in_parts_is_followed_like_a_whole_one(line: str, limit: int, inside: bool) -> None:
    whole = line.encode() + b"\n"
    both = Quotes(b'"', b",")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(quotes, "LONGEST_LINE", limit)
        (found,) = lines_of(io.BytesIO(whole), both)
    assert found.length == len(whole)
    assert found.after(both, inside) == SourceLine(whole, len(whole)).after(both, inside)
