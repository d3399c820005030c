"""The depot without mess: one CSV for each table of the contract, in its column names, in UTC."""

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

import numpy as np
import polars as pl

from rqa.contract import TABLES
from rqa.demo.catalogue import SITES
from rqa.demo.chunk import Chunk
from rqa.demo.clock import DAY, EPOCH, to_utc
from rqa.demo.reference import REFERENCE

UTC_FORMAT = "%Y-%m-%dT%H:%M:%SZ"


def instant(utc: "pl.Series | np.ndarray", form: str = UTC_FORMAT) -> pl.Series:
    """Minutes since the epoch as text."""
    series = utc if isinstance(utc, pl.Series) else pl.Series(utc)
    first, last = series.min(), series.max()
    if not isinstance(first, int) or not isinstance(last, int) or series.null_count() or len(series) < last - first:
        return _texts(series, form)
    begin = first // DAY * DAY
    return _every_minute(begin, last // DAY * DAY + DAY, form).gather(series - begin).alias(series.name)


@lru_cache(maxsize=4)
def _every_minute(begin: int, end: int, form: str) -> pl.Series:
    """The texts of all minutes, for logs that have more rows than there are minutes."""
    return _texts(pl.Series(np.arange(begin, end)), form)


def _texts(minutes: pl.Series, form: str) -> pl.Series:
    name = minutes.name
    moment = pl.lit(EPOCH).cast(pl.Datetime("ms")) + pl.duration(minutes=pl.col(name))
    return minutes.to_frame().select(moment.dt.strftime(form).alias(name))[name]


def in_utc(frame: pl.DataFrame, site: np.ndarray, columns: Iterable[str]) -> pl.DataFrame:
    """The frame with its wall times turned into UTC text; `site` is each row's site."""
    made = []
    for name in columns:
        wall = frame[name]
        missing = wall.is_null()
        told = instant(pl.Series(name, to_utc(wall.fill_null(0).to_numpy(), site)))
        made.append(pl.select(pl.when(~missing).then(told).alias(name))[name] if missing.any() else told)
    return frame.with_columns(made)


def write_plain(folder: Path, chunks: Iterable[Chunk]) -> None:
    """Write all tables; the logs chunk by chunk."""
    names = ("jobs", "steps", "diagnostics", "parts", "retirements")
    streams = {name: (folder / f"{name}.csv").open("wb") for name in names}
    try:
        for chunk in chunks:
            site, ids = chunk.drawn.site, chunk.jobs["job_id"]
            logs = {
                "steps": (chunk.steps, ("started_at", "ended_at")),
                "diagnostics": (chunk.diagnostics, ("run_at",)),
                "parts": (chunk.parts, ()),
            }
            _append(streams["jobs"], "jobs", in_utc(chunk.jobs, site, ("opened_at", "closed_at")), chunk.number)
            for name, (frame, times) in logs.items():
                at = frame["at"].to_numpy()
                frame = frame.with_columns(ids.gather(at).alias("job_id"))
                _append(streams[name], name, in_utc(frame, site[at], times), chunk.number)
            retired = chunk.retirements.with_columns(instant(chunk.retirements["retired_at"]))
            _append(streams["retirements"], "retirements", retired, chunk.number)
    finally:
        for stream in streams.values():
            stream.close()
    for name, make in REFERENCE.items():
        make().write_csv(folder / f"{name}.csv")


def _append(stream: object, table: str, frame: pl.DataFrame, number: int) -> None:
    frame.select(TABLES[table].names).write_csv(stream, include_header=number == 0)  # type: ignore[call-overload]


def plain_sources(title: str) -> str:
    """`sources.toml` of a plain workspace."""
    parts = [
        f'[workspace]\ntitle = "{title}"\ncurrency = "EUR"\nlabour_rate = 38\nzone = "UTC"\n'
        'models = ["Marl-8", "Marl-10", "Quern"]\n'
    ]
    zones = {s.name: s.zone for s in SITES}
    parts += [f'[sites.{name}]\nzone = "{zone}"\n' for name, zone in zones.items()]
    parts += [f'[files.{name}]\npath = "{name}.csv"\n' for name in TABLES]
    parts += [f'[[table]]\ntable = "{name}"\nfrom = "{name}"\n' for name in TABLES]
    return "\n".join(parts)
