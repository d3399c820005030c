"""The mapping of one load: what `sources.toml` or the caller gives, the frames, and the workspace's own actions."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rqa.contract import TABLES
from rqa.errors import MappingError
from rqa.intake.draft import Draft, draft, read_mapping
from rqa.intake.mapping import MAPPING_FILE
from rqa.intake.own_actions import with_own_actions


def mapping_given(folder: Path, frames: Mapping[str, Any] | None, mapping: Mapping[str, Any] | None) -> Draft:
    """What can be used of the mapping of a load, and its faults; `mapping` replaces `sources.toml`.

    Raises `MappingError` where there is none, or none that can be read.
    """
    plain = mapping if mapping is not None else _mapping_for(folder, frames)
    if not isinstance(plain, Mapping):
        raise MappingError(f"mapping must be what {MAPPING_FILE} holds, a dictionary, not a {type(plain).__name__}.")
    return draft(with_own_actions(_with_frames(dict(plain), frames or {}), folder))


def _mapping_for(folder: Path, frames: Mapping[str, Any] | None) -> dict[str, Any]:
    if frames and not (folder / MAPPING_FILE).exists():
        return {}
    return read_mapping(folder)


def _with_frames(raw: dict[str, Any], frames: Mapping[str, Any]) -> dict[str, Any]:
    """Frames named like a table of the contract, and not mapped otherwise, feed that table as they are."""
    files, tables = raw.get("files", {}), raw.get("table", [])
    if not isinstance(files, dict) or not isinstance(tables, list):
        return raw
    given = {n: {"format": "frame"} for n in frames if n not in files}
    read = [str(t.get("from") or t.get("select")) for t in tables if isinstance(t, dict)]
    unread = [n for n in given if n in TABLES and not any(re.search(rf"\b{n}\b", text) for text in read)]
    return raw | {"files": files | given, "table": [*tables, *({"table": n, "from": n} for n in unread)]}
