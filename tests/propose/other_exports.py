"""Four more exports, written with other words than the first twelve and without a look at the vocabulary."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import polars as pl

from tests.propose.exports import STATES, Shop, at, comma, jobs, table


def depot_of_radios(folder: Path) -> Shop:
    """English of another kind: cards, assets, turnarounds; a second file of bench work; epoch seconds."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("Fixed & tested", "No issue found", "Scrap", "RTC unrepaired", "Void", "On bench"),
                     strict=True))
    rows = [[f"JC-{j.number}", f"AT{j.unit}", j.model, "Kettle Rd", "PCB rework", at(j.opened, "%d-%b-%Y %H:%M"),
             at(j.closed, "%d-%b-%Y %H:%M"), words[j.state], j.person, "no audio", "amp", f"{j.minutes / 60:.2f}",
             f"{j.cost:.2f}", "7.50"] for j in jobs()]
    shop.write("cards/jobcards.csv", table(
        ["Job Card", "Asset Tag", "Product", "Depot", "Service Code", "Logged", "Despatched", "Outcome", "Engineer",
         "Reported Fault", "Root Cause", "Bench Hours", "Spares £", "Carriage £"], rows))
    work = [[f"JC-{j.number}", n, "Bench " + "AB"[n % 2], task, int((j.opened + timedelta(minutes=11 * n)).timestamp()),
             j.person, ok] for j in jobs() for n, task, ok in ((1, "strip down", "n/a"), (2, "refit", "Good"))]
    shop.write("cards/work.csv", table(
        ["Job Card", "Op", "Workbench", "Operation", "Completed", "Engineer", "Check"], work))
    shop.truth["jobcards", "jobs"] = {
        "job_id": "Job Card", "unit_id": "Asset Tag", "model": "Product", "site": "Depot", "procedure": "Service Code",
        "opened_at": "Logged", "closed_at": "Despatched", "disposition": "Outcome", "technician": "Engineer",
        "complaint": "Reported Fault", "found": "Root Cause", "labour_minutes": "Bench Hours", "parts_cost": "Spares £",
        "freight_cost": "Carriage £",
    }
    shop.truth["work", "steps"] = {
        "job_id": "Job Card", "step_seq": "Op", "bench": "Workbench", "step": "Operation", "ended_at": "Completed",
        "technician": "Engineer", "outcome": "Check",
    }
    shop.values = {"Outcome": {w: s for s, w in words.items()}, "Check": {"n/a": "skipped", "Good": "pass"}}
    return shop


def laboratory(folder: Path) -> Shop:
    """German test records with limits beside a list of orders, semicolons, unit letters."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("Reparatur erfolgreich", "ohne Befund", "Verschrottung", "Rücksendung unrepariert",
                              "Storno",
                              "laufend"), strict=True))
    rows = [[f"R{j.number}", f"{j.unit}", j.model, "Dresden", "Modulwechsel", at(j.opened, "%d.%m.%Y"),
             at(j.closed, "%d.%m.%Y"), words[j.state], j.person, ("Kulanz",
                                                                  "Garantiefall")[j.number % 2]] for j in jobs()]
    shop.write("RMA-Liste.csv", table(
        ["RMA-Nr.", "Fabriknummer", "Gerätemodell", "Standort", "Maßnahme", "Annahmetag", "Fertigmeldung",
         "Abschlussart",
         "Sachbearbeiter", "Abrechnungsart"], rows, ";"), "cp1252")
    rows = [[f"R{j.number}", t, comma(v), comma(3.6), comma(4.2), "V", "gut" if j.number % 9 else "schlecht", "PS-2",
             at(j.opened + timedelta(hours=3), "%d.%m.%Y %H:%M:%S")] for j in jobs() for t, v in (("Zelle", 3.9),
                                                                                                  ("Last", 4.0))]
    shop.write("Messprotokoll.csv", table(
        ["RMA-Nr.", "Prüfung", "Istwert", "UGW", "OGW", "Einh.", "Beurteilung", "Prüfplatz", "Prüfzeit"], rows, ";"),
               "cp1252")
    shop.truth["RMA-Liste", "jobs"] = {
        "job_id": "RMA-Nr.", "unit_id": "Fabriknummer", "model": "Gerätemodell", "site": "Standort",
        "procedure": "Maßnahme",
        "opened_at": "Annahmetag", "closed_at": "Fertigmeldung", "disposition": "Abschlussart",
        "technician": "Sachbearbeiter", "billing": "Abrechnungsart",
    }
    shop.truth["Messprotokoll", "diagnostics"] = {
        "job_id": "RMA-Nr.", "test": "Prüfung", "value": "Istwert", "lower_limit": "UGW", "upper_limit": "OGW",
        "unit": "Einh.", "outcome": "Beurteilung", "station": "Prüfplatz", "run_at": "Prüfzeit",
    }
    shop.values = {"Abschlussart": {w: s for s, w in words.items()}, "Beurteilung": {"gut": "pass", "schlecht": "fail"},
                   "Abrechnungsart": {"Kulanz": "goodwill", "Garantiefall": "warranty"}}
    return shop


def warehouse(folder: Path) -> Shop:
    """Parquet with English names in camel case, beside a list of spares."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("REPAIRED", "NO_FAULT", "BEYOND_REPAIR", "RETURNED_AS_IS", "CANCELLED", "IN_PROGRESS"),
                     strict=True))
    made = jobs()
    pl.DataFrame({
        "serviceOrderId": [f"SO{j.number}" for j in made], "deviceSerial": [f"D{j.unit}" for j in made],
        "productName": [j.model for j in made], "serviceCenter": ["North"] * 60, "repairProcedure": ["display"] * 60,
        "checkInTime": [j.opened for j in made], "checkOutTime": [j.closed for j in made],
        "finalStatus": [words[j.state] for j in made], "assignedTo": [j.person for j in made],
        "symptomCode": ["flicker"] * 60, "diagnosedFault": ["panel"] * 60,
        "laborMinutes": [j.minutes for j in made], "materialCost": [j.cost for j in made], "shippingCost": [9.0] * 60,
        "customerEmail": ["a@example.org"] * 60,
    }).write_parquet(folder / "service_orders.parquet")
    pl.DataFrame({
        "serviceOrderId": [f"SO{j.number}" for j in made], "lineNo": [1] * 60, "partNumber": ["DP-4"] * 60,
        "batchCode": ["B7"] * 60, "qtyUsed": [1] * 60, "unitPrice": [31.5] * 60,
    }).write_parquet(folder / "consumed_parts.parquet")
    shop.truth["service_orders", "jobs"] = {
        "job_id": "serviceOrderId", "unit_id": "deviceSerial", "model": "productName", "site": "serviceCenter",
        "procedure": "repairProcedure", "opened_at": "checkInTime", "closed_at": "checkOutTime",
        "disposition": "finalStatus", "technician": "assignedTo", "complaint": "symptomCode", "found": "diagnosedFault",
        "labour_minutes": "laborMinutes", "parts_cost": "materialCost", "freight_cost": "shippingCost",
    }
    shop.truth["consumed_parts", "parts"] = {
        "job_id": "serviceOrderId", "line": "lineNo", "part_no": "partNumber", "lot": "batchCode",
        "quantity": "qtyUsed",
        "unit_cost": "unitPrice",
    }
    shop.values = {"finalStatus": {w: s for s, w in words.items()}}
    return shop


def mixed_south(folder: Path) -> Shop:
    """Spanish jobs and Italian steps of one company, a title line above, ISO days with clock times of their own."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("Equipo reparado", "Sin fallo detectado", "Baja", "Devuelto", "Anulación", "En taller"),
                     strict=True))
    rows = [[f"OS{j.number}", f"{j.unit}", "ES", j.model, "Cambio de módulo", at(j.opened, "%Y-%m-%d %H:%M"),
             at(j.closed, "%Y-%m-%d %H:%M"), words[j.state], j.person, "sí" if j.number % 2 else "no"] for j in jobs()]
    shop.write("informe_ordenes.csv", "Informe mensual\n" + table(
        ["Orden de servicio", "Núm. serie", "País", "Modelo equipo", "Actuación", "Recepción", "Expedición",
         "Situación final",
         "Operario", "En garantía"], rows, ";"))
    rows = [[f"OS{j.number}", f, at(j.opened + timedelta(minutes=7), "%Y-%m-%d %H:%M"),
             at(j.opened + timedelta(minutes=12), "%Y-%m-%d %H:%M"), e, "Banco 3", "Giravite 2"] for j in jobs()
            for f, e in (("smontaggio", "fatto"), ("verifica tenuta", "positivo" if j.number % 5 else "negativo"))]
    shop.write("lavorazioni.csv", table(
        ["Rif. ordine", "Descrizione fase", "Avvio", "Termine", "Esito fase", "Postazione", "Attrezzatura"], rows, ";"))
    shop.truth["informe", "jobs"] = {
        "job_id": "Orden de servicio", "unit_id": "Núm. serie", "model": "Modelo equipo", "procedure": "Actuación",
        "opened_at": "Recepción", "closed_at": "Expedición", "disposition": "Situación final", "technician": "Operario",
        "billing": "En garantía", "site": None,
    }
    shop.truth["lavorazioni", "steps"] = {
        "job_id": "Rif. ordine", "step": "Descrizione fase", "started_at": "Avvio", "ended_at": "Termine",
        "outcome": "Esito fase", "bench": "Postazione", "tool": "Attrezzatura",
    }
    shop.values = {"Situación final": {w: s for s, w in words.items()},
                   "Esito fase": {"fatto": "done", "positivo": "pass", "negativo": "fail"},
                   "En garantía": {"sí": "warranty", "no": "paid"}}
    return shop


OTHERS: tuple[Callable[[Path], Shop], ...] = (depot_of_radios, laboratory, warehouse, mixed_south)
