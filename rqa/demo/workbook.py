"""A small writer of Excel workbooks: sheets of texts, numbers and date cells, with the same bytes for the same data."""

import zipfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from xml.sax.saxutils import escape

import polars as pl

from rqa.words import counted

MOMENT = (2026, 7, 1, 6, 0, 0)
"""The time stamped on every part of a workbook."""
SHEET_ROWS = 1_048_576
"""The most rows a sheet can have."""
DATE_STYLE = 1
EXCEL_EPOCH = date(1899, 12, 30)
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
CONTENT = "application/vnd.openxmlformats-officedocument.spreadsheetml"
HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
STYLES = (
    f'{HEAD}<styleSheet xmlns="{MAIN}"><numFmts count="1">'
    '<numFmt numFmtId="164" formatCode="dd/mm/yyyy\\ hh:mm"/></numFmts>'
    '<fonts count="1"><font><sz val="11"/><name val="Arial"/></font></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill>'
    '<fill><patternFill patternType="gray125"/></fill></fills>'
    '<borders count="1"><border><left/><right/><top/><bottom/></border></borders>'
    '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
    '<cellXfs count="2"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
    '<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
)


def write_workbook(path: Path, sheets: Mapping[str, pl.DataFrame]) -> None:
    """Write a workbook: texts as shared texts, numbers as numbers, datetimes as date cells, nulls as empty cells.

    Raises `ValueError` if a sheet would have more rows than Excel allows.
    """
    texts: dict[str, int] = {}
    bodies = [_sheet(name, frame, texts) for name, frame in sheets.items()]
    numbers = range(1, len(sheets) + 1)
    kinds = "".join(
        f'<Override PartName="/xl/{part}" ContentType="{CONTENT}.{kind}+xml"/>'
        for part, kind in [
            ("workbook.xml", "sheet.main"), ("styles.xml", "styles"), ("sharedStrings.xml", "sharedStrings"),
            *((f"worksheets/sheet{n}.xml", "worksheet") for n in numbers),
        ]
    )
    links = "".join(
        f'<Relationship Id="rId{n}" Type="{OFFICE}/worksheet" Target="worksheets/sheet{n}.xml"/>' for n in numbers
    )
    named = "".join(
        f'<sheet name="{escape(s)}" sheetId="{n}" r:id="rId{n}"/>' for n, s in zip(numbers, sheets, strict=True)
    )
    files = {
        "[Content_Types].xml": f'{HEAD}<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" '
        f'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Default Extension="xml" ContentType="application/xml"/>{kinds}</Types>',
        "_rels/.rels": f'{HEAD}<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{HEAD}<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets>{named}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'{HEAD}<Relationships xmlns="{PACKAGE}/relationships">{links}'
        f'<Relationship Id="rId{len(sheets) + 1}" Type="{OFFICE}/styles" Target="styles.xml"/>'
        f'<Relationship Id="rId{len(sheets) + 2}" Type="{OFFICE}/sharedStrings" Target="sharedStrings.xml"/>'
        "</Relationships>",
        "xl/styles.xml": STYLES,
        "xl/sharedStrings.xml": f'{HEAD}<sst xmlns="{MAIN}" uniqueCount="{len(texts)}">'
        + "".join(f"<si><t>{escape(t)}</t></si>" for t in texts)
        + "</sst>",
        **{f"xl/worksheets/sheet{n}.xml": body for n, body in zip(numbers, bodies, strict=True)},
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as book:
        for name, body in files.items():
            book.writestr(_stamped(name), body)


def _stamped(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, MOMENT)
    info.compress_type, info.external_attr, info.create_system = zipfile.ZIP_DEFLATED, 0o600 << 16, 3
    return info


def _sheet(name: str, frame: pl.DataFrame, texts: dict[str, int]) -> str:
    if frame.height + 1 > SHEET_ROWS:
        raise ValueError(f"sheet {name!r} would have {counted(frame.height + 1, 'row')}; a sheet holds {SHEET_ROWS:,}")
    header = "".join(f'<c t="s"><v>{texts.setdefault(c, len(texts))}</v></c>' for c in frame.columns)
    cells = [_cells(column, texts) for column in frame.get_columns()]
    whole = pl.concat_str([pl.lit("<row>"), *cells, pl.lit("</row>")])
    rows: list[str] = [] if frame.is_empty() else pl.select(whole).to_series().to_list()
    return f'{HEAD}<worksheet xmlns="{MAIN}"><sheetData><row>{header}</row>{"".join(rows)}</sheetData></worksheet>'


def _cells(column: pl.Series, texts: dict[str, int]) -> pl.Series:
    """One column as cells."""
    frame, name = column.to_frame(), pl.col(column.name)
    if column.dtype == pl.String:
        for text in column.unique(maintain_order=True).drop_nulls():
            texts.setdefault(text, len(texts))
        numbered = name.replace_strict(texts, return_dtype=pl.Int64, default=None)
        cell = pl.lit('<c t="s"><v>') + numbered.cast(pl.String) + pl.lit("</v></c>")
    elif column.dtype.is_temporal():
        # Ten digits after the point tell milliseconds apart, so that a whole minute is read as one.
        days = (name - pl.lit(EXCEL_EPOCH).cast(column.dtype)).dt.total_minutes() / 1440
        cell = pl.lit(f'<c s="{DATE_STYLE}"><v>') + days.round(10).cast(pl.String) + pl.lit("</v></c>")
    else:
        cell = pl.lit("<c><v>") + name.cast(pl.String) + pl.lit("</v></c>")
    return frame.select(cell.fill_null("<c/>").alias("cell"))["cell"]
