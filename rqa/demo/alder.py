"""Alder's exports: monthly and quarterly CSV with semicolons, day-first dates, decimal commas, in cp1252."""

import gzip
import io
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from rqa.demo.clock import EPOCH
from rqa.demo.mess import Account, Spoil, other_case, prepared, sent_later, spoiled

if TYPE_CHECKING:
    from rqa.demo.exports import SiteLogs

ENCODING = "cp1252"
STATES = {
    "repaired": "reparado", "no_fault_found": "sem avaria", "not_economic": "não económico",
    "returned_unrepaired": "devolvido", "cancelled": "anulado", "open": "em curso",
}
PAYERS = {"warranty": "garantia", "paid": "cliente", "goodwill": "cortesia"}
OUTCOMES = {"pass": "OK", "fail": "NÃO OK", "done": "feito", "skipped": "saltado", "aborted": "interrompido"}
UNITS = {"deg": "°"}
COLUMNS = {
    "jobs": {
        "job_id": "Talão", "unit_id": "Aparelho", "model": "Modelo", "procedure": "Serviço", "opened_at": "Entrada",
        "closed_at": "Saída", "disposition": "Estado", "complaint": "Queixa", "found": "Avaria",
        "technician": "Técnico", "billing": "Pagador", "labour_minutes": "Minutos", "parts_cost": "Peças €",
        "freight_cost": "Porte €",
    },
    "steps": {
        "job_id": "Talão", "step_seq": "Pos", "attempt": "Vez", "step": "Passo", "outcome": "Resultado",
        "technician": "Técnico", "bench": "Bancada", "tool": "Ferramenta", "started_at": "Início", "ended_at": "Fim",
        "fault": "Falha", "value": "Medida",
    },
    "diagnostics": {
        "job_id": "Talão", "test": "Ensaio", "run": "Vez", "outcome": "Resultado", "run_at": "Hora",
        "station": "Posto", "value": "Medida", "lower_limit": "Mín", "upper_limit": "Máx", "unit": "Unidade",
    },
    "parts": {
        "job_id": "Talão", "line": "Linha", "part_no": "Peça", "lot": "Lote", "quantity": "Qtd", "unit_cost": "Preço",
    },
}


def clock(column: str) -> pl.Expr:
    """A wall time as Alder writes it."""
    moment = pl.lit(EPOCH).cast(pl.Datetime("ms")) + pl.duration(minutes=pl.col(column))
    return moment.dt.strftime("%d.%m.%Y %H:%M").alias(column)


def comma(column: str) -> pl.Expr:
    """A number with a decimal comma."""
    return pl.col(column).cast(pl.String).str.replace(".", ",", literal=True)


def period(every: str) -> pl.Expr:
    """The month, quarter or half-year in which the job was opened, as it stands in a file's name."""
    day = pl.lit(EPOCH).cast(pl.Datetime("ms")) + pl.duration(minutes=pl.col("~opened"))
    if every == "month":
        return day.dt.strftime("%Y-%m")
    number = day.dt.quarter() if every == "quarter" else (day.dt.quarter() + 1) // 2
    return day.dt.year().cast(pl.String) + ("-q" if every == "quarter" else "-h") + number.cast(pl.String)


def suffix(number: int) -> str:
    """What tells the files of later chunks apart."""
    return f"_{number + 1}" if number else ""


def write_alder(rng: np.random.Generator, logs: "SiteLogs", folder: Path, account: Account) -> None:
    """Write Alder's share of one chunk."""
    thousands, end = logs.jobs.height / 1000, suffix(logs.number)
    quiet = pl.col("at").is_in(logs.quiet.implode())
    jobs = _jobs(rng, logs, quiet, thousands)
    plain_step = quiet & (pl.col("attempt") == 1) & pl.col("outcome").is_in(["OK", "feito"])
    steps = logs.steps.with_columns(
        clock("started_at"), clock("ended_at"), pl.col("outcome").replace_strict(OUTCOMES), comma("value")
    )
    steps = prepared(steps, "alder/steps_" + period("quarter") + f"{end}.csv.gz")
    steps = spoiled(rng, steps, plain_step, [
        Spoil("row sent twice", 18),
        Spoil("ended before it started", 9, {"ended_at": pl.col("started_at"), "started_at": pl.col("ended_at")},
              pl.col("started_at") != pl.col("ended_at")),
        Spoil("unknown step", 8, {"step": pl.lit("polish bezel")}),
        Spoil("unknown outcome code", 6, {"outcome": pl.lit("??")}),
        Spoil("number with two decimal marks", 4, {"value": pl.lit("3,1,4")}, pl.col("value").is_not_null()),
        Spoil("day that does not exist", 5, {"ended_at": pl.lit("31.02.2026 10:15")}),
    ], thousands)
    tests = logs.diagnostics.with_columns(
        clock("run_at"), pl.col("outcome").replace_strict(OUTCOMES), comma("value"), comma("lower_limit"),
        comma("upper_limit"), pl.col("unit").replace(UNITS),
    )
    tests = prepared(tests, "alder/tests_" + period("quarter") + f"{end}.csv.gz")
    tests = spoiled(rng, tests, quiet & (pl.col("run") == 1) & (pl.col("outcome") == "OK"), [
        Spoil("row sent twice", 9),
        Spoil("unknown test", 5, {"test": pl.lit("shake table")}),
        Spoil("limits swapped", 4, {"lower_limit": pl.col("upper_limit"), "upper_limit": pl.col("lower_limit")},
              pl.col("upper_limit").is_not_null()),
    ], thousands)
    parts = logs.parts.with_columns(pl.col("quantity").cast(pl.String), comma("unit_cost"))
    parts = prepared(parts, "alder/parts_" + period("quarter") + f"{end}.csv")
    parts = spoiled(rng, parts, quiet, [
        Spoil("row sent twice", 5), Spoil("quantity below nothing", 3, {"quantity": pl.lit("-1")}),
    ], thousands)
    for table, frame in (("jobs", jobs), ("steps", steps), ("diagnostics", tests), ("parts", parts)):
        for (file,), rows in frame.sort("~file", "~order").group_by("~file", maintain_order=True):
            _write(folder / str(file), rows, COLUMNS[table])
            account.count(str(file), table, rows["~mess"], rows["~clock"] if "~clock" in rows.columns else None)


def _jobs(rng: np.random.Generator, logs: "SiteLogs", quiet: pl.Expr, thousands: float) -> pl.DataFrame:
    end = suffix(logs.number)
    jobs = logs.jobs.with_columns(
        clock("opened_at"), clock("closed_at"), pl.col("disposition").replace_strict(STATES),
        pl.col("billing").replace_strict(PAYERS), comma("labour_minutes"), comma("parts_cost"), comma("freight_cost"),
    )
    jobs = prepared(jobs, "alder/jobs_" + period("month") + f"{end}.csv")
    whole = jobs.select("at", pl.col("closed_at").alias("~whole"))
    jobs = spoiled(rng, jobs, quiet, [
        Spoil("row sent twice", 11),
        Spoil("closing time missing", 8, {"closed_at": pl.lit(None, dtype=pl.String)}),
        Spoil("closed before it was opened", 5, {"closed_at": pl.col("opened_at"), "opened_at": pl.col("closed_at")}),
        Spoil("day that does not exist", 4, {"opened_at": pl.lit("31.11.2025 09:30")}),
        Spoil("unknown end state", 4, {"disposition": pl.lit("X9")}),
        Spoil("corrected later", 14),
    ], thousands)
    late = f"alder/late_corrections_2026-07{end}.csv"
    corrected, resent = sent_later(jobs, whole)
    jobs = spoiled(rng, jobs, pl.lit(True), [
        Spoil("unit id in another case", 60, {"unit_id": other_case(pl.col("unit_id"))}),
    ], thousands)
    return pl.concat([jobs, *(f.with_columns(pl.lit(late).alias("~file")) for f in (corrected, resent))])


def _write(path: Path, rows: pl.DataFrame, columns: dict[str, str]) -> None:
    out = io.StringIO()
    rows.select(pl.col(ours).alias(theirs) for ours, theirs in columns.items()).write_csv(
        out, separator=";", line_terminator="\r\n"
    )
    data = out.getvalue().encode(ENCODING)
    path.write_bytes(gzip.compress(data, 9, mtime=0) if path.suffix == ".gz" else data)
