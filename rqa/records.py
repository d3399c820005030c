"""The records of a store that are no rows, read back with the key that they were encrypted with."""

from pathlib import Path
from typing import TYPE_CHECKING

from rqa.errors import RequestError
from rqa.measures.run import measure_sql

if TYPE_CHECKING:
    import polars as pl


def broken_records(workspace: str | Path, key_file: str | Path) -> "pl.DataFrame":
    """The records that are no rows and were kept, as `source_file`, `source_row`, `rule`, `record`.

    Encrypted ones (`broken_records = "encrypted"`) are decrypted; names stand in them as they were read. Raises
    `RequestError` for a key that is none or opens none of them.
    """
    import polars as pl

    from rqa.intake.sealed import PREFIX, Sealing
    from rqa.store.engine import open_store

    path = Path(key_file).expanduser()
    if not path.is_file():
        raise RequestError(f"{path}: there is no such file; give the key_file that sources.toml names.")
    with open_store(workspace) as store:
        kept = store.counts("records", measure_sql("kept_records"))
    closed = [text for text in kept["record"] if text.startswith(PREFIX)]
    if not closed:
        return kept
    sealing = Sealing(path.read_bytes())
    opened = {text: record for text in closed if (record := sealing.opened(text)) is not None}
    if not opened:
        raise RequestError(
            f"{path}: this key opens none of the encrypted records. They take the first key_file of sources.toml, as "
            "it was when they were loaded."
        )
    texts = [opened.get(text, text) for text in kept["record"]]
    return kept.with_columns(pl.Series("record", texts, dtype=pl.String))
