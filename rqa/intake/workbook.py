"""How a sheet of a workbook is read: cells as text, rows and columns where they stand, errors kept."""

from typing import Any

from rqa.errors import MappingError, SourceError
from rqa.intake.mapping import unknown_name
from rqa.intake.sheet_size import too_large
from rqa.intake.sources import SourceFile, Text
from rqa.shown import told
from rqa.words import counted

EXCEL_ERRORS = {
    "Div0": "#DIV/0!", "NA": "#N/A", "Name": "#NAME?", "Null": "#NULL!", "Num": "#NUM!", "Ref": "#REF!",
    "Value": "#VALUE!",
}


def read_sheet(source: SourceFile, number: int) -> Text:
    """One sheet of a workbook as text columns; `number` makes the name of its data unique within a load."""
    import fastexcel
    import pyarrow as pa

    try:
        book = fastexcel.read_excel(source.path)
    except Exception as error:
        said = f"is no readable workbook{_why(source, error)}"
        raise SourceError(f"{source.label}: {said}. Nothing was loaded.") from (None if source.sealed else error)
    sheet = source.spec.sheet if source.spec.sheet is not None else book.sheet_names[0]
    if isinstance(sheet, str) and sheet not in book.sheet_names:
        raise MappingError(f"{source.label}: no sheet {told(sheet)}; {unknown_name(sheet, book.sheet_names)}")
    grid = _cells(source, book, sheet)
    height = len(grid[0]) if grid else 0
    header = source.spec.header_row - 1
    while 0 <= header < height and all(column[header] is None for column in grid):
        header += 1
    if header >= height:
        _say_why_nothing(source, book, sheet, height)
        return Text((), "(select 1 where false)", {})
    columns = _columns(source, sheet, grid, header)
    given = [pa.array(c[header + 1 :], type=pa.string()) for c in grid]
    name = f"data_{number}"
    data = pa.Table.from_arrays(given, names=[f"c{i}" for i in range(len(grid))])
    select = {c: f"c{i}" for i, c in enumerate(columns)}
    blank = " and ".join(f"{c} is null" for c in select.values())
    return Text(tuple(columns), name, select, header + 2, blank=blank, data=data, data_name=name, typed=True)


def _cells(source: SourceFile, book: Any, sheet: str | int) -> list[list[str | None]]:
    """The cells of a sheet by column, as text; a cell that holds an error holds what the sheet shows."""
    if said := too_large(source.path, sheet):
        raise SourceError(f"{source.label}, sheet {sheet!r}: {said}. Nothing was loaded.")
    try:
        # Without a header, so that rows keep their places and no column is renamed unasked.
        cells, faults = book.load_sheet(sheet, header_row=None, skip_rows=0, dtypes="string").to_arrow_with_errors()
    except Exception as error:
        said = f"cannot be read{_why(source, error)}"
        raise SourceError(f"{source.label}, sheet {told(sheet)}: {said}. Nothing was loaded.") from (
            None if source.sealed else error
        )
    grid = [column.to_pylist() for column in cells.columns]
    for fault in faults.errors if faults else ():
        row, column = fault.position
        grid[column][row] = _excel_error(fault.detail)
    return grid


def _columns(source: SourceFile, sheet: str | int, grid: list[list[str | None]], header: int) -> list[str]:
    if header >= 0:
        return [(c[header] or "").strip() or f"column_{i}" for i, c in enumerate(grid, 1)]
    named = source.spec.header
    if named is not None and len(named) != len(grid):
        raise MappingError(
            f"files.{source.name}.header: it names {counted(len(named), 'column')}, and {source.label}, sheet "
            f"{told(sheet)}, has {len(grid)}"
        )
    return named or [str(i) for i in range(1, len(grid) + 1)]


def _say_why_nothing(source: SourceFile, book: Any, sheet: str | int, height: int) -> None:
    """Raise `SourceError` for a sheet with nothing to read where the mapping may have meant another row or sheet."""
    if height:
        raise SourceError(
            f"{source.label}, sheet {told(sheet)}: header_row is {source.spec.header_row}, and nothing is written on "
            f"that row or below. Set header_row for files.{source.name} to the row that names the columns. "
            "Nothing was loaded."
        )
    filled = [s for s in book.sheet_names if s != sheet and any(_cells(source, book, s))]
    if source.spec.sheet is None and filled:
        raise SourceError(
            f"{source.label}: its first sheet, {told(sheet)}, is empty, and others are not. Set sheet for "
            f"files.{source.name}; there is: {', '.join(filled)}. Nothing was loaded."
        )


def _why(source: SourceFile, error: Exception) -> str:
    """What the reader says, where it cannot hold a cell that must not be told."""
    return "" if source.sealed else f" ({str(error).splitlines()[0]})"


def _excel_error(detail: str) -> str:
    """What the sheet shows in a cell that holds an error; a cell must not become empty unnoticed."""
    for code, shown in EXCEL_ERRORS.items():
        if f"Error({code})" in detail:
            return shown
    return "#ERROR"
