"""What the engine says of a source or of an entry's SQL, as an error of ours: whose fault it is, and no name in it."""

import re
from collections.abc import Iterable
from typing import NoReturn

import duckdb

from rqa.errors import MappingError, SourceError, StoreError
from rqa.intake.entries import listed_columns
from rqa.shown import short
from rqa.store.mapping_sql import engine_said
from rqa.store.planned import Plan
from rqa.words import listed

NOT_SHOWN = "what the engine says is not shown, as it may hold a name"
"""What is told of an error of the engine in place of its own words."""
FAILED_CAST = ". Where a cast fails, try_cast gives nothing instead"
"""What is told beside, where the entry has SQL of its own."""
SAFE_TO_TELL = (duckdb.InterruptException, duckdb.OutOfMemoryException)
"""Errors of the engine that hold no value."""
STREAM_ENDED = re.compile(r"reading the stream registered as .* failed: Unknown error: (.*?)\. Detail: ")
"""How the engine says why a source that is handed to it row by row stopped."""
KIND = re.compile(r'^(?:[A-Z]\w* ){1,2}Error: |Failed to read file ".*?": ')
"""What the engine puts before what is wrong with a file: the kind of error, and the file by its whole path."""
OF_DATA = (duckdb.InvalidInputException, duckdb.ConversionException, duckdb.OutOfRangeException)
"""Errors of the engine that lie in what it reads, or in what is computed of it."""
BROKEN_PARQUET = re.compile(
    r"failed to read file|decompress|found in parquet file|TProtocolException|out of buffer|don't know what type|"
    "file might be corrupted",
    re.IGNORECASE,
)
"""How the engine says that the pages of a Parquet file hold no data; its errors for that are of several kinds."""


def raise_told(error: duckdb.Error, item: Plan, of_sets: Iterable[str] = ()) -> NoReturn:
    """Raise the engine's error as ours; where it may hold a name, without what the engine says."""
    if item.entry.guard.hides_values and not isinstance(error, SAFE_TO_TELL):
        kind = str(error).partition(":")[0]
        of_file = _is_of_the_file(error, item)
        told = type(error)(f"{kind}; {NOT_SHOWN}{'' if of_file else FAILED_CAST}")
        raise engine_error(told, item, of_sets, of_file=of_file)
    raise engine_error(error, item, of_sets, of_file=_is_of_the_file(error, item)) from error


def engine_error(
    error: duckdb.Error, item: Plan, of_sets: Iterable[str] = (), *, of_file: bool = False
) -> Exception:
    """The engine's error as ours; `of_sets` are the columns of the files that an entry's SELECT names."""
    said = engine_said(str(error), listed_columns(item.entry, dict.fromkeys(of_sets)))
    if (found := STREAM_ENDED.search(str(error))) is not None:
        said = (
            "took too long to give its rows"
            if found[1] == "interrupted"
            else f"cannot be read to its end ({found[1]})"
        )
        return SourceError(f"{item.label}: {said}. Nothing was loaded.")
    if isinstance(error, duckdb.IOException) or of_file:
        said = KIND.sub("", said).rstrip(".")
        for file in item.sources:
            said = said.replace(f'"{file.path}"', file.label)
        return SourceError(
            f"{item.label}: cannot be read to its end ({short(said)}). Fetch it again. Nothing was loaded."
        )
    if isinstance(error, duckdb.ProgrammingError | duckdb.ConversionException | duckdb.OutOfRangeException):
        return MappingError(f"{item.entry.place}: its SQL does not fit {item.label}: {said}{unsent(item)}")
    return StoreError(f"{item.label}: the engine could not read it: {said}")


def _is_of_the_file(error: duckdb.Error, item: Plan) -> bool:
    """Whether the engine found a file broken: not the SQL of an entry that has none, nor the data of its columns."""
    if isinstance(error, SAFE_TO_TELL) or not (type(error) is duckdb.Error or isinstance(error, OF_DATA)):
        return False
    broken = any(s.format == "parquet" for s in item.sources) and BROKEN_PARQUET.search(str(error))
    return bool(broken) or not item.entry.spec.computed


def unsent(item: Plan) -> str:
    """What is said of sets without a file when a SELECT over them cannot be run."""
    if not item.unsent:
        return ""
    names = listed([f"files.{n}" for n in item.unsent])
    return (
        f" (No file of {names} is there yet, so the SELECT sees no rows and no columns of it. Put one in the folder, "
        "take it out of the SELECT, or join with union all by name.)"
    )
