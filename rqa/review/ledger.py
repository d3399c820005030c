"""What pages were written: what each told is kept beside them, so that a later page can say what changed.

A store's rows do not know by which load they came, so what an old month looked like when its page was written cannot be
asked of the store; it is written down instead.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from rqa.errors import RequestError
from rqa.words import listed, month_name
from rqa.written import write_whole

LEDGER = "rqa-pages.json"


@dataclass(frozen=True)
class Record:
    """One page: its month and as-of day as text, the fingerprint, and the month and figure of each thing told."""

    month: str
    as_of: str
    fingerprint: str
    figures: Mapping[str, tuple[str, str]]

    @property
    def key(self) -> tuple[str, str, str]:
        """Pages with the same key say the same."""
        return self.month, self.as_of, self.fingerprint


def read_ledger(folder: Path) -> tuple[Record, ...]:
    """The pages written into a folder, in their order; raises `RequestError` for a ledger that cannot be read."""
    path = folder / LEDGER
    try:
        pages = json.loads(path.read_text(encoding="utf-8"))["pages"]
        return tuple(
            Record(p["month"], p["as_of"], p["fingerprint"], {k: (v[0], v[1]) for k, v in p["figures"].items()})
            for p in pages
        )
    except (FileNotFoundError, NotADirectoryError):
        return ()
    except (ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        raise RequestError(f"{path} is no ledger of pages; move it away, and a new one is begun.") from error


def keep(folder: Path, records: Sequence[Record], own: Record) -> None:
    """Write a page down; one with the same key keeps its place."""
    kept = list(records) if own.key in [r.key for r in records] else [*records, own]
    pages = [{**asdict(r), "figures": dict(r.figures)} for r in kept]
    text = json.dumps({"pages": pages}, ensure_ascii=False, indent=1) + "\n"
    write_whole(folder / LEDGER, text.encode("utf-8"))


def changes(own: Record, earlier: Sequence[Record]) -> tuple[str, ...]:
    """What the page says of the last different one of its month; later ones do not count."""
    keys = [r.key for r in earlier]
    before = earlier[: keys.index(own.key)] if own.key in keys else earlier
    same_month = [r for r in before if r.month == own.month]
    if not same_month:
        return (f"No other page of {month_name(own.month)} was written here before this one.",)
    last = same_month[-1]
    data = "on other data" if last.fingerprint != own.fingerprint else "on the same data"
    said = [f"The page of {month_name(own.month)} before this one was written as of {last.as_of}, {data}."]
    same = [measure for measure, now in own.figures.items() if now == last.figures.get(measure)]
    for measure, (month, figure) in own.figures.items():
        was_month, was = last.figures.get(measure, ("", "not said"))
        if measure in same:
            continue
        if measure not in last.figures:
            said.append(f"{_capital(measure)}: {figure}; not on the page before.")
        elif month == was_month:
            said.append(f"{_capital(measure)} of {month}: {figure}; it was {was}.")
        else:
            said.append(f"{_capital(measure)}: {figure} in {month}; before, {was} in {was_month or 'no month'}.")
    said += [f"{_capital(gone)}: no longer on the page." for gone in last.figures if gone not in own.figures]
    if same:
        said.append(f"Unchanged: {listed(same)}.")
    if last.as_of == own.as_of and last.fingerprint != own.fingerprint and len(same) < len(own.figures):
        said.append("Both look as of the same day, so what differs entered the store by later loads or corrections.")
    return tuple(said)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
