"""Three exports of an invented shop that nobody has mapped yet: Dutch, German and Spanish words, three formats."""

import random
import sqlite3
import tempfile
from datetime import datetime, timedelta
from pathlib import Path

MODELS = ("Marl-8", "Marl-10", "Quern")
STATES = {"hersteld": 40, "geen fout gevonden": 5, "niet rendabel": 3, "geannuleerd": 2, "wacht op klant": 2}
"""How the shop says that a job ended, and how often of 52; the last is one that no list of words knows."""
STEPS = ("Gehäuse öffnen", "Akku trennen", "Bauteil tauschen", "Gehäuse schließen")
TESTS = ("encendido", "pantalla", "batería")
PEOPLE = ("Techniker 1", "Techniker 2", "Techniker 3")
FIRST = datetime(2025, 1, 6, 8, 30)
DAY = timedelta(days=1)


def foreign_exports(folder: str | Path | None = None, *, jobs: int = 240, seed: int = 3) -> Path:
    """Write three made-up exports into a folder, a temporary one by default, and return the folder.

    Parameters:
        folder: where to; made if it is not there.
        jobs: how many repair jobs, 1 or more.
        seed: the same seed gives the same rows.

    `opdrachten.csv` has the jobs (Dutch, semicolons, commas in numbers), `Protokoll.xlsx` the steps (German, two rows
    of titles above the header), `pruebas.db` the tests (Spanish, SQLite). Job ids are W-25001 in the first and W25001
    in the others. A temporary folder is left for the system to remove.

    >>> from rqa.demo.foreign import foreign_exports
    >>> sorted(path.name for path in foreign_exports(jobs=5).iterdir())
    ['Protokoll.xlsx', 'opdrachten.csv', 'pruebas.db']
    """
    target = Path(tempfile.mkdtemp(prefix="rqa-exports-")) if folder is None else Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    rng = random.Random(seed)
    states = [state for state, times in STATES.items() for _ in range(times)]
    orders, steps, tests = list[list[str]](), list[list[str]](), list[tuple[str, str, str, str]]()
    for n in range(jobs):
        opened = FIRST + n * DAY / 2 + timedelta(minutes=rng.randrange(240))
        closed = opened + timedelta(days=rng.randint(1, 6), minutes=rng.randrange(300))
        number, state = 25001 + n, rng.choice(states)
        unit, minutes = rng.randrange(max(2, jobs * 3 // 4)), rng.randint(40, 240)
        out = "" if state == "wacht op klant" else f"{closed:%d-%m-%Y %H:%M}"
        orders.append([
            f"W-{number}", f"S{70000 + unit}", MODELS[unit % 3], f"{opened:%d-%m-%Y %H:%M}", out, state,
            f"{minutes / 60:.2f}".replace(".", ","), f"{rng.randint(0, 9000) / 100:.2f}".replace(".", ","),
        ])
        at = opened + timedelta(hours=3)
        for step in STEPS:
            ended = at + timedelta(minutes=rng.randint(4, 25))
            result = "erledigt" if step == STEPS[0] else "n.i.O." if rng.random() < 0.06 else "i.O."
            steps.append([f"W{number}", step, f"{at:%d.%m.%Y %H:%M}", f"{ended:%d.%m.%Y %H:%M}", result,
                          rng.choice(PEOPLE)])
            at = ended
        for test in TESTS:
            at += timedelta(minutes=3)
            tests.append((f"W{number}", test, f"{at:%Y-%m-%d %H:%M:%S}", "no apto" if rng.random() < 0.04 else "apto"))
    _csv(target / "opdrachten.csv", orders)
    _workbook(target / "Protokoll.xlsx", steps)
    _database(target / "pruebas.db", tests)
    return target


def _csv(path: Path, rows: list[list[str]]) -> None:
    head = ["Opdrachtnummer", "Serienummer", "Model", "Ontvangen op", "Afgesloten op", "Status", "Arbeidsuren",
            "Kosten onderdelen"]
    path.write_text("\n".join(";".join(row) for row in [head, *rows]) + "\n", encoding="utf-8")


def _workbook(path: Path, rows: list[list[str]]) -> None:
    import xlsxwriter

    head = ["Auftrag", "Arbeitsschritt", "Beginn", "Ende", "Ergebnis", "Bearbeiter"]
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("Protokoll")
        sheet.write_string(0, 0, "Arbeitsprotokoll")
        sheet.write_string(1, 0, "alle Plätze")
        for n, row in enumerate([head, *rows]):
            sheet.write_row(n + 2, 0, row)


def _database(path: Path, rows: list[tuple[str, str, str, str]]) -> None:
    path.unlink(missing_ok=True)
    database = sqlite3.connect(path)
    try:
        with database:
            database.execute("create table pruebas (orden text, prueba text, fecha text, resultado text)")
            database.executemany("insert into pruebas values (?, ?, ?, ?)", rows)
    finally:
        database.close()
