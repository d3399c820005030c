"""Exports as different shops make them, each with the truth of its columns: what a proposed mapping is held against.

Everything is invented. The truth of a set of files is the contract's table and, for each of its columns that the export
has, the source column that gives it; it is written here by hand, beside the export, and knows nothing of the proposal.
"""

import gzip
import json
import random
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import xlsxwriter


@dataclass
class Shop:
    """A folder under test and its truth: for each set, by a part of its path or sheet, table and columns."""

    folder: Path
    truth: dict[tuple[str, str], dict[str, object]] = field(default_factory=dict)
    """(a part of the path, or of sheet or table; the contract's table): column of the contract -> source column, the
    columns that are joined, or None where a stand-in marked for checking is right."""
    times: dict[str, Sequence[str]] = field(default_factory=dict)
    """By part of the path: the formats that are right; () where nothing can tell day from month."""
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    """By source column: what each of its texts means."""
    accepted: int = -1
    """How many rows of jobs a load of the proposed mapping accepts; -1: not counted."""
    others: dict[str, int] = field(default_factory=dict)
    """How many rows of other tables it accepts, where their rows are made of the export's by reshaping it."""
    sheets: dict[tuple[str, str], set[str]] = field(default_factory=dict)
    """(a part of the path; the contract's table): the columns of a check sheet that become rows of it."""

    def write(self, name: str, text: str, encoding: str = "utf-8") -> None:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        raw = text.encode(encoding)
        path.write_bytes(gzip.compress(raw) if name.endswith(".gz") else raw)


@dataclass(frozen=True)
class Job:
    number: int
    unit: int
    model: str
    opened: datetime
    closed: datetime | None
    state: str
    person: str
    minutes: float
    cost: float


STATES = ("repaired", "no_fault_found", "not_economic", "returned_unrepaired", "cancelled", "open")


def jobs(many: int = 60, seed: int = 1, first: datetime = datetime(2025, 1, 3, 8, 5)) -> list[Job]:
    rng = random.Random(seed)
    made = []
    for i in range(many):
        opened = first + timedelta(hours=rng.randint(4, 9) + 11 * i, minutes=rng.randint(0, 59))
        state = STATES[i % 6] if i % 5 == 0 else "repaired"
        closed = None if state == "open" else opened + timedelta(hours=rng.randint(3, 190), minutes=7)
        made.append(Job(1000 + i, 5000 + rng.randint(0, many), f"R{1 + i % 3}", opened, closed, state,
                        ("K. Ahl", "M. Boe", "S. Cid")[i % 3], rng.randint(10, 190) + 0.5, rng.randint(0, 9000) / 100))
    return made


def table(columns: Sequence[str], rows: Sequence[Sequence[object]], delimiter: str = ",", end: str = "\n") -> str:
    """Delimited text; cells with the delimiter are quoted."""
    def cell(value: object) -> str:
        text = "" if value is None else str(value)
        return f'"{text}"' if delimiter in text or '"' in text else text

    return end.join(delimiter.join(map(cell, row)) for row in [columns, *rows]) + end


def comma(value: float) -> str:
    return f"{value:.2f}".replace(".", ",")


def at(moment: datetime | None, form: str) -> str:
    return "" if moment is None else moment.strftime(form)


def german(folder: Path) -> Shop:
    """Semicolons, decimal commas, cp1252, day first; months in files of their own; a log of steps, gzipped."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("repariert", "kein Fehler gefunden", "unwirtschaftlich", "unrepariert zurück",
                              "storniert",
                              "in Arbeit"), strict=True))
    for month in (1, 2):
        rows = [[f"A-{j.number}", f"SN{j.unit}", j.model, "Gehäuse tauschen", at(j.opened, "%d.%m.%Y %H:%M"),
                 at(j.closed, "%d.%m.%Y %H:%M"), words[j.state], j.person, comma(j.minutes), comma(j.cost),
                 "Grün, geprüft"]
                for j in jobs() if j.opened.month == month]
        shop.write(f"Aufträge_2025-{month:02}.csv", table(
            ["Auftragsnummer", "Seriennummer", "Gerätetyp", "Reparaturart", "Eingangsdatum", "Ausgangsdatum",
             "Ergebnis",
             "Bearbeiter", "Arbeitszeit (min)", "Ersatzteilkosten €", "Bemerkung"], rows, ";", "\r\n"), "cp1252")
    steps = [[f"A-{j.number}", n, step, result, at(j.opened + timedelta(minutes=9 * n), "%d.%m.%Y %H:%M"), j.person]
             for j in jobs() for n, step, result in
             ((1, "öffnen", "erledigt"), (2, "Gehäuse einsetzen", "i.O." if j.number % 7 else "n.i.O."))]
    shop.write("Schritte.csv.gz", table(
        ["Auftragsnr.", "Lfd. Nr.", "Arbeitsschritt", "Bewertung", "Zeitpunkt", "Mitarbeiter"], steps, ";"), "cp1252")
    shop.truth["Auf", "jobs"] = {
        "job_id": "Auftragsnummer", "unit_id": "Seriennummer", "model": "Gerätetyp", "procedure": "Reparaturart",
        "opened_at": "Eingangsdatum", "closed_at": "Ausgangsdatum", "disposition": "Ergebnis",
        "technician": "Bearbeiter",
        "labour_minutes": "Arbeitszeit (min)", "parts_cost": "Ersatzteilkosten €", "site": None,
    }
    shop.truth["Schritte", "steps"] = {
        "job_id": "Auftragsnr.", "step_seq": "Lfd. Nr.", "step": "Arbeitsschritt", "outcome": "Bewertung",
        "ended_at": "Zeitpunkt", "technician": "Mitarbeiter",
    }
    shop.times = {"Auf": ["%d.%m.%Y %H:%M"], "Schritte": ["%d.%m.%Y %H:%M"]}
    shop.values = {"Ergebnis": {w: s for s, w in words.items()},
                   "Bewertung": {"erledigt": "done", "i.O.": "pass", "n.i.O.": "fail"}}
    shop.accepted = 60
    return shop


def american(folder: Path) -> Shop:
    """Commas, months first with a.m. and p.m.; costs with a dollar sign; what is missing is N/A."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("Completed", "NTF", "BER", "Returned Unrepaired", "Canceled", "Awaiting Parts"),
                     strict=True))
    rows = [[f"RMA{j.number}", f"{j.unit:08}", j.model, "Level 2", at(j.opened, "%m/%d/%Y %I:%M %p"),
             at(j.closed, "%m/%d/%Y %I:%M %p") or "N/A", words[j.state], j.person, f"{j.minutes / 60:.2f}",
             f"${j.cost:.2f}",
             ("IW", "OOW")[j.number % 2], "555-0100"] for j in jobs()]
    shop.write("export/tickets.csv", table(
        ["RMA #", "Serial Number", "Model", "Repair Type", "Date Received", "Date Shipped", "Status", "Technician",
         "Labor Hours", "Parts Cost", "Warranty Status", "Customer Phone"], rows))
    shop.truth["tickets", "jobs"] = {
        "job_id": "RMA #", "unit_id": "Serial Number", "model": "Model", "procedure": "Repair Type",
        "opened_at": "Date Received", "closed_at": "Date Shipped", "disposition": "Status", "technician": "Technician",
        "labour_minutes": "Labor Hours", "parts_cost": "Parts Cost", "billing": "Warranty Status", "site": None,
    }
    shop.times = {"tickets": ["%m/%d/%Y %I:%M %p"]}
    shop.values = {"Status": {w: s for s, w in words.items()}, "Warranty Status": {"IW": "warranty", "OOW": "paid"}}
    shop.accepted = 60
    return shop


def french(folder: Path) -> Shop:
    """A workbook with a title above each header: jobs, tests and parts on sheets of their own."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("réparé", "aucun défaut", "irréparable", "rendu sans réparation", "annulé", "en cours"),
                     strict=True))
    book = xlsxwriter.Workbook(str(folder / "atelier 2025.xlsx"))
    sheets = {
        "Interventions": (["N° de dossier", "N° de série", "Modèle", "Prestation", "Date d'entrée", "Date de sortie",
                           "Résultat",
                    "Technicien", "Panne signalée", "Défaut constaté"],
                   [[f"D{j.number}", f"S{j.unit}", j.model, "Écran", j.opened, j.closed, words[j.state], j.person,
                     "écran noir", "nappe"] for j in jobs()]),
        "Essais": (["N° dossier", "Essai", "Résultat", "Date de l'essai", "Poste", "Valeur mesurée", "Limite inf.",
                    "Limite sup.",
                    "Unité"],
                   [[f"D{j.number}", test, "conforme" if j.number % 6 else "non conforme",
                     j.opened + timedelta(hours=2), "P1",
                     3.7, 3.6, 4.2, "V"] for j in jobs() for test in ("charge", "écran")]),
        "Pièces": (["N° dossier", "Réf. pièce", "Lot", "Quantité", "Prix unitaire"],
                   [[f"D{j.number}", "EC-10", f"L{j.number % 5}", 1, 12.5] for j in jobs()]),
    }
    form = book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
    for name, (columns, rows) in sheets.items():
        sheet = book.add_worksheet(name)
        sheet.write(0, 0, "Atelier de réparation")
        sheet.write(1, 0, "Extrait du 30/06/2025")
        for i, c in enumerate(columns):
            sheet.write(3, i, c)
        for r, row in enumerate(rows, 4):
            for i, value in enumerate(row):
                if isinstance(value, datetime):
                    sheet.write_datetime(r, i, value, form)
                elif value is not None:
                    sheet.write(r, i, value)
    book.close()
    shop.truth["Interventions", "jobs"] = {
        "job_id": "N° de dossier", "unit_id": "N° de série", "model": "Modèle", "procedure": "Prestation",
        "opened_at": "Date d'entrée", "closed_at": "Date de sortie", "disposition": "Résultat",
        "technician": "Technicien",
        "complaint": "Panne signalée", "found": "Défaut constaté", "site": None,
    }
    shop.truth["Essais", "diagnostics"] = {
        "job_id": "N° dossier", "test": "Essai", "outcome": "Résultat", "run_at": "Date de l'essai", "station": "Poste",
        "value": "Valeur mesurée", "lower_limit": "Limite inf.", "upper_limit": "Limite sup.", "unit": "Unité",
    }
    shop.truth["Pièces", "parts"] = {
        "job_id": "N° dossier", "part_no": "Réf. pièce", "lot": "Lot", "quantity": "Quantité",
        "unit_cost": "Prix unitaire",
    }
    shop.values = {"Résultat": {w: s for s, w in words.items()} | {"conforme": "pass", "non conforme": "fail"}}
    shop.accepted = 60
    return shop


def spanish(folder: Path) -> Shop:
    """Day and clock time in columns of their own; tabs; two sites in folders of their own."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("reparado", "sin avería", "no rentable", "devuelto sin reparar", "anulado", "en curso"),
                     strict=True))
    for n, site in enumerate(("norte", "sur")):
        rows = [[f"{site[0].upper()}{j.number}", f"E{j.unit}", j.model, "pantalla", at(j.opened, "%d/%m/%Y"),
                 at(j.opened, "%H:%M"), at(j.closed, "%d/%m/%Y"), at(j.closed, "%H:%M"), words[j.state], j.person]
                for j in jobs(seed=n)]
        shop.write(f"{site}/ordenes.tsv", table(
            ["Nº de orden", "Nº de serie", "Modelo", "Tipo de reparación", "Fecha de entrada", "Hora de entrada",
             "Fecha de salida", "Hora de salida", "Estado", "Técnico"], rows, "\t"))
        shop.truth[site, "jobs"] = {
            "job_id": "Nº de orden", "unit_id": "Nº de serie", "model": "Modelo", "procedure": "Tipo de reparación",
            "opened_at": ["Fecha de entrada", "Hora de entrada"], "closed_at": ["Fecha de salida", "Hora de salida"],
            "disposition": "Estado", "technician": "Técnico", "site": None,
        }
        shop.times[site] = ["%d/%m/%Y %H:%M"]
    shop.values = {"Estado": {w: s for s, w in words.items()}}
    shop.accepted = 120
    return shop


def italian(folder: Path) -> Shop:
    """An SQLite database with a table each for jobs and for steps."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("riparato", "nessun guasto", "non economico", "reso non riparato", "annullato",
                              "in corso"),
                     strict=True))
    with sqlite3.connect(folder / "officina.db") as db:
        db.execute("create table commesse (id_commessa, matricola, modello, lavorazione, ingresso, uscita, esito, "
                   "tecnico, sede)")
        db.executemany("insert into commesse values (?,?,?,?,?,?,?,?,?)", [
            (f"C{j.number}", f"M{j.unit}", j.model, "scheda", at(j.opened, "%Y-%m-%d %H:%M:%S"),
             at(j.closed, "%Y-%m-%d %H:%M:%S") or None, words[j.state], j.person, "Centro") for j in jobs()])
        db.execute("create table fasi (id_commessa, fase, esito, inizio, fine, addetto)")
        db.executemany("insert into fasi values (?,?,?,?,?,?)", [
            (f"C{j.number}", f, "eseguito" if f == "apertura" else ("superato", "non superato")[j.number % 9 == 0],
             at(j.opened + timedelta(minutes=4 * n), "%Y-%m-%d %H:%M:%S"),
             at(j.opened + timedelta(minutes=4 * n + 3), "%Y-%m-%d %H:%M:%S"), j.person)
            for j in jobs() for n, f in enumerate(("apertura", "collaudo scheda"))])
    db.close()
    shop.truth["commesse", "jobs"] = {
        "job_id": "id_commessa", "unit_id": "matricola", "model": "modello", "procedure": "lavorazione",
        "opened_at": "ingresso", "closed_at": "uscita", "disposition": "esito", "technician": "tecnico", "site": "sede",
    }
    shop.truth["fasi", "steps"] = {
        "job_id": "id_commessa", "step": "fase", "outcome": "esito", "started_at": "inizio", "ended_at": "fine",
        "technician": "addetto",
    }
    shop.values = {"esito": {w: s for s, w in words.items()} | {
        "eseguito": "done", "superato": "pass", "non superato": "fail"}}
    shop.accepted = 60
    return shop


def dutch(folder: Path) -> Shop:
    """JSON Lines with objects in objects, in UTC with an offset."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("gerepareerd", "geen fout gevonden", "niet rendabel", "retour zonder reparatie",
                              "geannuleerd", "in behandeling"), strict=True))
    lines = [json.dumps({
        "opdracht": {"nummer": f"W{j.number}"}, "toestel": {"serienummer": f"T{j.unit}", "model": j.model},
        "procedure": "accu", "ontvangen": at(j.opened, "%Y-%m-%dT%H:%M:%SZ"),
        "gereed": at(j.closed, "%Y-%m-%dT%H:%M:%SZ") or None, "resultaat": words[j.state], "monteur": j.person,
        "klacht": "laadt niet", "locatie": "Oost"}) for j in jobs()]
    shop.write("data/opdrachten.jsonl", "\n".join(lines) + "\n")
    shop.truth["opdrachten", "jobs"] = {
        "job_id": "opdracht.nummer", "unit_id": "toestel.serienummer", "model": "toestel.model",
        "procedure": "procedure",
        "opened_at": "ontvangen", "closed_at": "gereed", "disposition": "resultaat", "technician": "monteur",
        "complaint": "klacht", "site": "locatie",
    }
    shop.values = {"resultaat": {w: s for s, w in words.items()}}
    shop.accepted = 60
    return shop


def portuguese(folder: Path) -> Shop:
    """UTF-8 with a byte-order mark; a line of steps for each attempt; day first with years of two digits."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("reparado", "sem avaria", "não económico", "devolvido sem reparar", "anulado",
                              "em curso"),
                     strict=True))
    rows = [[j.number, f"N{j.unit}", j.model, "bateria", at(j.opened, "%d-%m-%y %H:%M"), at(j.closed, "%d-%m-%y %H:%M"),
             words[j.state], j.person, comma(j.cost), comma(4.5), ("garantia",
                                                                   "cliente")[j.number % 2]] for j in jobs()]
    shop.write("processos.csv", "\ufeff" + table(
        ["Nº Processo", "Nº Série", "Modelo", "Serviço", "Data de entrada", "Data de saída", "Estado", "Técnico",
         "Custo peças",
         "Porte", "Pagador"], rows, ";"))
    steps = [[j.number, s, a, r, at(j.opened + timedelta(minutes=5 * a), "%d-%m-%y %H:%M"), "B2"] for j in jobs()
             for s, a, r in (("abrir", 1, "feito"), ("medir", 1, "NÃO OK"), ("medir", 2, "OK"))]
    shop.write("passos.csv", table(["Processo", "Passo", "Tentativa", "Resultado", "Fim", "Bancada"], steps, ";"))
    shop.truth["processos", "jobs"] = {
        "job_id": "Nº Processo", "unit_id": "Nº Série", "model": "Modelo", "procedure": "Serviço",
        "opened_at": "Data de entrada", "closed_at": "Data de saída", "disposition": "Estado", "technician": "Técnico",
        "parts_cost": "Custo peças", "freight_cost": "Porte", "billing": "Pagador", "site": None,
    }
    shop.truth["passos", "steps"] = {
        "job_id": "Processo", "step": "Passo", "attempt": "Tentativa", "outcome": "Resultado", "ended_at": "Fim",
        "bench": "Bancada",
    }
    shop.times = {"processos": ["%d-%m-%y %H:%M"], "passos": ["%d-%m-%y %H:%M"]}
    shop.values = {"Estado": {w: s for s, w in words.items()}, "Pagador": {"garantia": "warranty", "cliente": "paid"},
                   "Resultado": {"feito": "done", "NÃO OK": "fail", "OK": "pass"}}
    shop.accepted = 60
    return shop


def polish(folder: Path) -> Shop:
    """The code page of Central Europe, a title line, a dash for what is missing."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("naprawiono", "nie stwierdzono usterki", "nieopłacalne", "zwrot bez naprawy", "anulowano",
                              "w toku"), strict=True))
    rows = [[f"Z/{j.number}", f"PL{j.unit}", j.model, "wymiana płyty", at(j.opened, "%Y.%m.%d %H:%M"),
             at(j.closed, "%Y.%m.%d %H:%M") or "-", words[j.state], j.person, comma(j.minutes), "Łódź"] for j in jobs()]
    text = "Zestawienie napraw za rok 2025\n\n" + table(
        ["Nr zlecenia", "Numer seryjny", "Model", "Rodzaj naprawy", "Data przyjęcia", "Data wydania", "Wynik",
         "Serwisant",
         "Czas pracy (min)", "Oddział"], rows, ";")
    shop.write("naprawy.csv", text, "cp1250")
    shop.truth["naprawy", "jobs"] = {
        "job_id": "Nr zlecenia", "unit_id": "Numer seryjny", "model": "Model", "procedure": "Rodzaj naprawy",
        "opened_at": "Data przyjęcia", "closed_at": "Data wydania", "disposition": "Wynik", "technician": "Serwisant",
        "labour_minutes": "Czas pracy (min)", "site": "Oddział",
    }
    shop.times = {"naprawy": ["%Y.%m.%d %H:%M"]}
    shop.values = {"Wynik": {w: s for s, w in words.items()}}
    shop.accepted = 60
    return shop


def event_log(folder: Path) -> Shop:
    """A log of events with a start and an end for each activity beside a list of cases."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("fixed", "no fault found", "scrapped", "sent back", "withdrawn", "in progress"),
                     strict=True))
    rows = [[j.number, f"U{j.unit}", j.model, "board swap", at(j.opened, "%Y-%m-%dT%H:%M:%S"),
             at(j.closed, "%Y-%m-%dT%H:%M:%S"), words[j.state], "East"] for j in jobs()]
    shop.write("cases.csv", table(["case_id", "device_id", "model", "workflow", "created", "completed", "resolution",
                                   "branch"], rows))
    events = [[j.number, a, when, at(j.opened + timedelta(minutes=m), "%Y-%m-%dT%H:%M:%S"), j.person,
               ("passed" if j.number % 8 else "failed") if when == "complete" else ""]
              for j in jobs() for a, when, m in (("open case", "start", 5), ("open case", "complete", 9),
                                                 ("check seal", "start", 12), ("check seal", "complete", 15))]
    shop.write("events.csv", table(["case_id", "activity", "lifecycle", "timestamp", "resource", "result"], events))
    shop.truth["cases", "jobs"] = {
        "job_id": "case_id", "unit_id": "device_id", "model": "model", "procedure": "workflow", "opened_at": "created",
        "closed_at": "completed", "disposition": "resolution", "site": "branch",
    }
    shop.values = {"resolution": {w: s for s, w in words.items()}, "result": {"passed": "pass", "failed": "fail"},
                   "outcome": {"passed": "pass", "failed": "fail"}}
    shop.accepted, shop.others = 60, {"steps": 120}
    return shop


def nothing_tells_the_order(folder: Path) -> Shop:
    """Days of which every one could be a month: nothing may be guessed."""
    shop = Shop(folder)
    rows = [[f"W{i}", f"S{i}", "K1", "board", f"0{1 + i % 3}/0{1 + i % 3}/2025", f"0{1 + i % 3}/0{1 + i % 3}/2025",
             "Repaired",
             "Ann"] for i in range(30)]
    shop.write("orders.txt", table(["Work order", "Serial", "Model", "Procedure", "Opened", "Closed", "Result",
                                    "Engineer"], rows, "|"))
    shop.truth["orders", "jobs"] = {
        "job_id": "Work order", "unit_id": "Serial", "model": "Model", "procedure": "Procedure", "opened_at": "Opened",
        "closed_at": "Closed", "disposition": "Result", "technician": "Engineer", "site": None,
    }
    shop.times = {"orders": ()}
    shop.values = {"Result": {"Repaired": "repaired"}}
    shop.accepted = 0
    return shop


def many_files(folder: Path) -> Shop:
    """A file for each day, in folders of years and months; ISO times; columns named as in the contract."""
    shop = Shop(folder)
    for j in jobs(40):
        row = [j.number, j.unit, j.model, "West", "cell swap", at(j.opened, "%Y-%m-%d %H:%M:%S"), j.state,
               at(j.closed, "%Y-%m-%d %H:%M:%S")]
        shop.write(f"log/{j.opened:%Y/%m}/jobs-{j.opened:%Y%m%d}-{j.number}.csv", table(
            ["job_id", "unit_id", "model", "site", "procedure", "opened_at", "disposition", "closed_at"], [row]))
    shop.truth["jobs", "jobs"] = {n: n for n in ("job_id", "unit_id", "model", "site", "procedure", "opened_at",
                                                 "disposition", "closed_at")}
    shop.accepted = 40
    return shop


def bare_codes(folder: Path) -> Shop:
    """Status letters of the shop's own: the columns are found, and what the letters mean is left to be told."""
    shop = Shop(folder)
    letters = dict(zip(STATES, "RNEUXO", strict=True))
    rows = [[j.number, f"U{j.unit}", j.model, "standard", at(j.opened, "%Y%m%d %H:%M"), at(j.closed, "%Y%m%d %H:%M"),
             letters[j.state], f"T{j.number % 4}", f"{j.cost * 100:,.2f}", "WP"[j.number % 2]] for j in jobs()]
    shop.write("JOBS.DAT", table(["JOBNO", "UNITID", "MODEL", "PROC_PLAN", "DATE_IN", "DATE_OUT", "STATUS", "TECH",
                                  "PARTS_COST", "PAYER"], rows, ";"))
    shop.truth["JOBS", "jobs"] = {
        "job_id": "JOBNO", "unit_id": "UNITID", "model": "MODEL", "procedure": "PROC_PLAN", "opened_at": "DATE_IN",
        "closed_at": "DATE_OUT", "disposition": "STATUS", "technician": "TECH", "parts_cost": "PARTS_COST",
        "site": None,
    }
    shop.times = {"JOBS": ["%Y%m%d %H:%M"]}
    shop.accepted = 0
    return shop


def wide(folder: Path) -> Shop:
    """One sheet for all: a row a job, a column for each test, and columns for up to two parts."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("fixed", "nothing found", "scrap", "returned", "void", "pending"), strict=True))
    rows = [[j.number, f"U{j.unit}", j.model, "swap", at(j.opened, "%Y-%m-%d %H:%M:%S"), at(j.closed,
                                                                                            "%Y-%m-%d %H:%M:%S"),
             words[j.state], "OK", "OK" if j.number % 7 else "NOK", "OK" if j.number % 2 else "", "C-1",
             "C-2" if j.number % 3 == 0 else ""] for j in jobs()]
    shop.write("sheet.csv", table(["Ticket", "Serial no.", "Model", "Procedure", "Received", "Shipped", "Result",
                                   "Display",
                                   "Battery", "Radio", "Part 1", "Part 2"], rows))
    shop.truth["sheet", "jobs"] = {
        "job_id": "Ticket", "unit_id": "Serial no.", "model": "Model", "procedure": "Procedure",
        "opened_at": "Received",
        "closed_at": "Shipped", "disposition": "Result", "site": None,
    }
    shop.values = {"Result": {w: s for s, w in words.items()}, "outcome": {"OK": "pass", "NOK": "fail"}}
    # 60 displays, 60 batteries and 30 radios; two jobs are open, so their three tests each have no time.
    shop.accepted, shop.others = 60, {"diagnostics": 60 + 60 + 30 - 2 * 3, "parts": 60 + 20}
    return shop


def full_of_traps(folder: Path) -> Shop:
    """A sheet with all that a service system exports beside: other dates, numbers, states and people."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("Repaired", "No fault found", "Scrapped", "Returned", "Cancelled", "Open"), strict=True))
    columns = ["Customer no", "Ticket", "Quote status", "Purchase date", "Serial number", "Old serial number", "Model",
               "Model year", "Service plan", "Created on", "Created by", "Due date", "Closed on", "Modified on",
               "Status",
               "Status date", "Technician", "Technician phone", "Team", "Labour minutes", "Planned minutes",
               "Total price",
               "Priority", "Warranty end", "Notes"]
    rows = [[f"K{j.unit % 9}", f"T{j.number}", "accepted", "2023-05-06", f"S{j.unit}", f"S{j.unit - 3000}", j.model,
             2021,
             "gold", at(j.opened, "%Y-%m-%d %H:%M"), "Desk 1", at(j.opened + timedelta(days=9), "%Y-%m-%d %H:%M"),
             at(j.closed, "%Y-%m-%d %H:%M"), at(j.opened + timedelta(days=30), "%Y-%m-%d %H:%M"), words[j.state],
             at(j.opened + timedelta(days=20), "%Y-%m-%d %H:%M"), j.person, "555-0101", "blue", j.minutes, 60, j.cost,
             "low",
             "2027-01-01", "none"] for j in jobs()]
    shop.write("service/tickets_all.csv", table(columns, rows))
    shop.truth["tickets_all", "jobs"] = {
        "job_id": "Ticket", "unit_id": "Serial number", "model": "Model", "opened_at": "Created on",
        "closed_at": "Closed on", "disposition": "Status", "technician": "Technician",
        "labour_minutes": "Labour minutes", "site": None,
    }
    shop.values = {"Status": {w: s for s, w in words.items()}}
    shop.accepted = 60
    return shop


def merged_cells(folder: Path) -> Shop:
    """A workbook for people to read: headers in two rows, the order's number once for all of its steps."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("repaired", "nff", "ber", "unrepaired", "cancelled", "waiting for parts"), strict=True))
    with xlsxwriter.Workbook(str(folder / "workshop.xlsx"), {"default_date_format": "yyyy-mm-dd hh:mm"}) as book:
        sheet = book.add_worksheet("Orders")
        sheet.write_row(0, 0, ["Unit", "", "", "Stay"])
        sheet.write_row(1, 0, ["Order no", "Serial", "Model", "Job plan", "Received", "Finished", "Outcome"])
        for row, j in enumerate(jobs(), 2):
            sheet.write_row(row, 0, [j.number, f"U{j.unit}", j.model, "refit", j.opened, j.closed, words[j.state]])
        sheet = book.add_worksheet("Steps")
        sheet.write_row(0, 0, ["Order no", "Task", "Result", "Finished"])
        for row, j in enumerate(jobs()):
            for n, task in enumerate(("strip", "refit", "clean")):
                number = j.number if n == 0 else None
                sheet.write_row(1 + 3 * row + n, 0, [number, task, "done", j.opened + timedelta(minutes=9 * n)])
    shop.truth["Orders", "jobs"] = {
        "job_id": "Order no", "unit_id": "Serial", "model": "Model", "procedure": "Job plan", "opened_at": "Received",
        "closed_at": "Finished", "disposition": "Outcome", "site": None,
    }
    shop.truth["Steps", "steps"] = {"job_id": "Order no", "step": "Task", "outcome": "Result", "ended_at": "Finished"}
    shop.values = {"Outcome": {w: s for s, w in words.items()}, "Result": {"done": "done"}}
    shop.accepted, shop.others = 60, {"steps": 180}
    return shop


SHOPS: tuple[Callable[[Path], Shop], ...] = (
    german, american, french, spanish, italian, dutch, portuguese, polish, event_log, nothing_tells_the_order,
    many_files,
    bare_codes, wide, full_of_traps, merged_cells,
)
