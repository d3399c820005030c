"""How a sheet of a workbook is read: cells as text, rows and columns where they stand, errors kept."""

from typing import Any

from rqa.errors import MappingError, SourceError
from rqa.intake.parts import unknown_name
from rqa.intake.sheets import Sheet, Sheets
from rqa.intake.sources import SourceFile, TextSource, named_by_two
from rqa.shown import told
from rqa.words import counted


def read_sheet(source: SourceFile, number: int, sheets: Sheets) -> TextSource:
    """One sheet of a workbook as text columns; `number` makes the name of its data unique within a load."""
    import pyarrow as pa

    asked = source.spec.sheet
    found = sheets.read(source, asked)
    if found.name is None:
        raise MappingError(f"{source.label}: no sheet {told(asked)}; {unknown_name(str(asked), found.sheets)}")
    grid = found.columns
    height = len(grid[0]) if grid else 0
    header = source.spec.header_row - 1
    while 0 <= header < height and not any(column[header].is_valid for column in grid):
        header += 1
    if header >= height:
        _say_why_nothing(source, sheets, found, height)
        return TextSource((), "(select 1 where false)", {})
    columns = _columns(source, found, header)
    header += (source.spec.header_rows - 1) * (header >= 0)
    name = f"data_{number}"
    data = pa.Table.from_arrays([c[header + 1 :] for c in grid], names=[f"c{i}" for i in range(len(grid))])
    select = {c: f"c{i}" for i, c in enumerate(columns)}
    blank = " and ".join(f"{c} is null" for c in select.values())
    return TextSource(tuple(columns), name, select, header + 2, blank=blank, data=data, data_name=name, typed=True)


def _columns(source: SourceFile, sheet: Sheet, header: int) -> list[str]:
    grid = sheet.columns
    if header >= 0:
        rows = [[(c[at].as_py() or "").strip() if at < len(c) else "" for c in grid]
                for at in range(header, header + source.spec.header_rows)]
        names = rows[0] if len(rows) == 1 else named_by_two(*rows)
        return [n or f"column_{i}" for i, n in enumerate(names, 1)]
    named = source.spec.header
    if named is not None and len(named) != len(grid):
        raise MappingError(
            f"files.{source.name}.header: it names {counted(len(named), 'column')}, and {source.label}, sheet "
            f"{told(sheet.name)}, has {len(grid)}"
        )
    return named or [str(i) for i in range(1, len(grid) + 1)]


def _say_why_nothing(source: SourceFile, sheets: Sheets, sheet: Sheet, height: int) -> None:
    """Raise `SourceError` for a sheet with nothing to read where the mapping may have meant another row or sheet."""
    if height:
        raise SourceError(
            f"{source.label}, sheet {told(sheet.name)}: header_row is {source.spec.header_row}, and nothing is written "
            f"on that row or below. Set header_row for files.{source.name} to the row that names the columns. "
            "Nothing was loaded."
        )
    filled = [s for s in sheet.sheets if s != sheet.name and _holds_any(sheets.read(source, s).columns)]
    if source.spec.sheet is None and filled:
        raise SourceError(
            f"{source.label}: its first sheet, {told(sheet.name)}, is empty, and others are not. Set sheet for "
            f"files.{source.name}; there is: {', '.join(filled)}. Nothing was loaded."
        )


def _holds_any(grid: list[Any]) -> bool:
    return bool(grid and len(grid[0]))
