"""Eight more exports, to see how a proposal does on words that it was not made with.

The first four were written before the vocabulary was widened, and it was widened with a look at them. The other four
were written after that, by other thinking (what a clerk would call things, not what a translator would), and were
scored once before anything was changed for them: see `test_unseen_exports.py` for the figures.
"""

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import xlsxwriter

from tests.propose.exports import STATES, Shop, at, comma, jobs, table

DAY, CLOCK = "%Y-%m-%d", "%Y-%m-%d %H:%M"


def swedish(folder: Path) -> Shop:
    """Orders with a dash in their number, and a log of steps that writes the same numbers without it."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("lagad", "inget fel funnet", "ej lönsam", "returnerad ej lagad", "avbeställd", "pågår"),
                     strict=True))
    rows = [[f"AO-{j.number}", f"SE{j.unit}", j.model, "Lund", "skärmbyte", at(j.opened, CLOCK), at(j.closed, CLOCK),
             words[j.state], j.person, "svart skärm", comma(j.minutes / 60), comma(j.cost), comma(89.0), "000"]
            for j in jobs()]
    shop.write("arbetsorder.csv", table(
        ["Arbetsordernr", "Enhetens serienr", "Modellbeteckning", "Verkstad", "Åtgärdstyp", "Inkom", "Utlämnad",
         "Utfall", "Tekniker", "Felanmälan", "Arbetstid (tim)", "Reservdelskostnad kr", "Frakt kr", "Kundens mobil"],
        rows, ";"))
    steps = [[f"AO{j.number}", n, step, result, at(j.opened + timedelta(minutes=9 * n), CLOCK),
              at(j.opened + timedelta(minutes=9 * n + 6), CLOCK), j.person, f"Bänk {1 + j.number % 3}"]
             for j in jobs() for n, step, result in ((1, "öppna", "utfört"), (2, "byt", "godkänd" if j.number % 9 else
                                                                             "underkänd"))]
    shop.write("moment.csv", table(["AO", "Ordning", "Arbetsmoment", "Resultat", "Påbörjat", "Avslutat", "Utfört av",
                                    "Arbetsplats"], steps, ";"))
    shop.truth["arbetsorder", "jobs"] = {
        "job_id": "Arbetsordernr", "unit_id": "Enhetens serienr", "model": "Modellbeteckning", "site": "Verkstad",
        "procedure": "Åtgärdstyp", "opened_at": "Inkom", "closed_at": "Utlämnad", "disposition": "Utfall",
        "technician": "Tekniker", "complaint": "Felanmälan", "labour_minutes": "Arbetstid (tim)",
        "parts_cost": "Reservdelskostnad kr", "freight_cost": "Frakt kr",
    }
    shop.truth["moment", "steps"] = {
        "job_id": "AO", "step_seq": "Ordning", "step": "Arbetsmoment", "outcome": "Resultat", "started_at": "Påbörjat",
        "ended_at": "Avslutat", "technician": "Utfört av", "bench": "Arbetsplats",
    }
    shop.values = {"Utfall": {w: s for s, w in words.items()},
                   "Resultat": {"utfört": "done", "godkänd": "pass", "underkänd": "fail"}}
    return shop


def czech(folder: Path) -> Shop:
    """The code page of Central Europe; parts with a price a piece in a workbook."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("opraveno", "bez závady", "neekonomické", "vráceno bez opravy", "zrušeno", "v opravě"),
                     strict=True))
    rows = [[f"{j.number}/25", f"CZ{j.unit}", j.model, "Brno", "výměna desky", at(j.opened, "%d.%m.%Y %H:%M"),
             at(j.closed, "%d.%m.%Y %H:%M"), words[j.state], j.person, "nejde zapnout", "deska", comma(j.cost),
             ("záruční", "placená")[j.number % 2], "Firma s.r.o."] for j in jobs()]
    shop.write("zakazky.csv", table(
        ["Číslo zakázky", "Výrobní číslo", "Typ přístroje", "Středisko", "Druh opravy", "Přijato", "Předáno", "Stav",
         "Opravář", "Reklamovaná závada", "Zjištěná závada", "Cena dílů", "Záruka", "Zákazník"], rows, ";"), "cp1250")
    with xlsxwriter.Workbook(str(folder / "dily.xlsx")) as book:
        sheet = book.add_worksheet("Díly")
        sheet.write_row(0, 0, ["Zakázka", "Položka", "Náhradní díl", "Šarže", "Ks", "Cena za kus"])
        for r, j in enumerate(jobs(), 1):
            sheet.write_row(r, 0, [f"{j.number}/25", 1, "D-77", f"S{j.number % 4}", 1 + j.number % 2, 120.5])
    shop.truth["zakazky", "jobs"] = {
        "job_id": "Číslo zakázky", "unit_id": "Výrobní číslo", "model": "Typ přístroje", "site": "Středisko",
        "procedure": "Druh opravy", "opened_at": "Přijato", "closed_at": "Předáno", "disposition": "Stav",
        "technician": "Opravář", "complaint": "Reklamovaná závada", "found": "Zjištěná závada",
        "parts_cost": "Cena dílů", "billing": "Záruka",
    }
    shop.truth["dily", "parts"] = {
        "job_id": "Zakázka", "line": "Položka", "part_no": "Náhradní díl", "lot": "Šarže", "quantity": "Ks",
        "unit_cost": "Cena za kus",
    }
    shop.values = {"Stav": {w: s for s, w in words.items()}, "Záruka": {"záruční": "warranty", "placená": "paid"}}
    return shop


def short_names(folder: Path) -> Shop:
    """A database whose columns are named as programmers do: short forms and underscores."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("REPAIRED", "NFF", "BER", "UNREPAIRED", "CANCELLED", "WIP"), strict=True))
    with closing(sqlite3.connect(folder / "shop.sqlite")) as db:
        db.execute("create table wo (wo_no, dev_sn, mdl, loc_cd, rpr_typ, dt_in, dt_out, disp_cd, tech_id, cust_cmpl,"
                   " lbr_min, prts_cst, frt_cst, cust_nm)")
        db.executemany(f"insert into wo values ({','.join('?' * 14)})", [
            (f"W{j.number}", f"D{j.unit}", j.model, "N1", "PCB", at(j.opened, CLOCK), at(j.closed, CLOCK) or None,
             words[j.state], f"T{j.number % 4}", "dead", j.minutes, j.cost, 4.5, "Acme") for j in jobs()])
        db.execute("create table wo_op (wo_no, op_no, op_desc, op_rslt, beg_ts, end_ts, emp_id, wrk_stn)")
        db.executemany("insert into wo_op values (?,?,?,?,?,?,?,?)", [
            (f"W{j.number}", n, op, res, at(j.opened + timedelta(minutes=5 * n), CLOCK),
             at(j.opened + timedelta(minutes=5 * n + 4), CLOCK), f"T{j.number % 4}", "WS1")
            for j in jobs() for n, op, res in ((10, "STRIP", "DONE"), (20, "FIT", "PASS" if j.number % 8 else "FAIL"))])
        db.execute("create table tst (wo_no, tst_cd, tst_rslt, tst_dt, meas_val, lo_lim, hi_lim, uom, bank)")
        db.executemany("insert into tst values (?,?,?,?,?,?,?,?,?)", [
            (f"W{j.number}", t, "P" if j.number % 7 else "F", at(j.opened + timedelta(hours=2), CLOCK), 3.3, 3.0, 3.6,
             "V", f"BK{j.number % 2}") for j in jobs() for t in ("VCC", "RF")])
        db.commit()
    shop.truth["'wo'", "jobs"] = {
        "job_id": "wo_no", "unit_id": "dev_sn", "model": "mdl", "site": "loc_cd", "procedure": "rpr_typ",
        "opened_at": "dt_in", "closed_at": "dt_out", "disposition": "disp_cd", "technician": "tech_id",
        "complaint": "cust_cmpl", "labour_minutes": "lbr_min", "parts_cost": "prts_cst", "freight_cost": "frt_cst",
    }
    shop.truth["wo_op", "steps"] = {
        "job_id": "wo_no", "step_seq": "op_no", "step": "op_desc", "outcome": "op_rslt", "started_at": "beg_ts",
        "ended_at": "end_ts", "technician": "emp_id", "bench": "wrk_stn",
    }
    shop.truth["tst", "diagnostics"] = {
        "job_id": "wo_no", "test": "tst_cd", "outcome": "tst_rslt", "run_at": "tst_dt", "value": "meas_val",
        "lower_limit": "lo_lim", "upper_limit": "hi_lim", "unit": "uom", "station": "bank",
    }
    shop.values = {"disp_cd": {w: s for s, w in words.items()}, "op_rslt": {"DONE": "done", "PASS": "pass",
                                                                           "FAIL": "fail"},
                   "tst_rslt": {"P": "pass", "F": "fail"}}
    return shop


def turkish(folder: Path) -> Shop:
    """JSON Lines in camel case, and a sheet with a column for each check."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("onarıldı", "arıza bulunamadı", "ekonomik değil", "onarılmadan iade", "iptal",
                              "işlemde"), strict=True))
    lines = [json.dumps({
        "isEmriNo": f"IE{j.number}", "cihazSeriNo": f"TR{j.unit}", "cihazModeli": j.model, "sube": "Bursa",
        "onarimTuru": "ekran", "kabulTarihi": at(j.opened, CLOCK), "teslimTarihi": at(j.closed, CLOCK) or None,
        "durum": words[j.state], "teknisyen": j.person, "musteriSikayeti": "açılmıyor", "iscilikDakika": j.minutes,
        "parcaTutari": j.cost, "musteriAdi": "Demir"}, ensure_ascii=False) for j in jobs()]
    shop.write("is_emirleri.jsonl", "\n".join(lines) + "\n")
    checks = [[f"IE{j.number}", at(j.closed or j.opened, CLOCK), "olumlu", "olumlu" if j.number % 6 else "olumsuz",
               "olumlu"] for j in jobs()]
    shop.write("kontrol_listesi.csv", table(["İş Emri No", "Kontrol Tarihi", "Ekran", "Batarya", "Hoparlör"], checks,
                                            ";"))
    shop.truth["is_emirleri", "jobs"] = {
        "job_id": "isEmriNo", "unit_id": "cihazSeriNo", "model": "cihazModeli", "site": "sube",
        "procedure": "onarimTuru", "opened_at": "kabulTarihi", "closed_at": "teslimTarihi", "disposition": "durum",
        "technician": "teknisyen", "complaint": "musteriSikayeti", "labour_minutes": "iscilikDakika",
        "parts_cost": "parcaTutari",
    }
    shop.sheets["kontrol_listesi", "diagnostics"] = {"Ekran", "Batarya", "Hoparlör"}
    shop.values = {"durum": {w: s for s, w in words.items()}, "outcome": {"olumlu": "pass", "olumsuz": "fail"}}
    return shop


FIRST_FOUR: tuple[Callable[[Path], Shop], ...] = (swedish, czech, short_names, turkish)


def danish_counter(folder: Path) -> Shop:
    """A workbook that the counter fills in, headed as people talk."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("Lavet", "Fandt ingen fejl", "For dyr at lave", "Retur ulavet", "Fortrudt",
                              "På værkstedet"), strict=True))
    with xlsxwriter.Workbook(str(folder / "reparationer.xlsx"), {"default_date_format": "dd-mm-yyyy hh:mm"}) as book:
        sheet = book.add_worksheet("Disk")
        sheet.write(0, 0, "Reparationer, hele året")
        sheet.write_row(2, 0, [
            "Sagsnr.", "Serienummer / IMEI", "Apparattype", "Butik", "Slags reparation", "Indleveret den", "Hentet den",
            "Endte med", "Lavet af", "Kunden siger", "Årsag", "Arbejdstid i minutter", "Reservedele kr.", "Fragt kr.",
            "Telefon"])
        for r, j in enumerate(jobs(), 3):
            sheet.write_row(r, 0, [
                f"S{j.number}", f"DK{j.unit}", j.model, "Havnen", "skærm", j.opened, j.closed, words[j.state], j.person,
                "virker ikke", "stik", j.minutes, j.cost, 49, "00 00 00 00"])
    shop.truth["Disk", "jobs"] = {
        "job_id": "Sagsnr.", "unit_id": "Serienummer / IMEI", "model": "Apparattype", "site": "Butik",
        "procedure": "Slags reparation", "opened_at": "Indleveret den", "closed_at": "Hentet den",
        "disposition": "Endte med", "technician": "Lavet af", "complaint": "Kunden siger", "found": "Årsag",
        "labour_minutes": "Arbejdstid i minutter", "parts_cost": "Reservedele kr.", "freight_cost": "Fragt kr.",
    }
    shop.values = {"Endte med": {w: s for s, w in words.items()}}
    return shop


def german_routing_slip(folder: Path) -> Shop:
    """A routing slip with its test record and its list of material, in the words of a works."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("instandgesetzt", "ohne Befund", "Ausschuss", "unbearbeitet zurück", "zurückgezogen",
                              "in Umlauf"), strict=True))
    rows = [[f"L{j.number}", f"I{j.unit}", j.model, "Nord", "Grundinstandsetzung", at(j.opened, "%d.%m.%Y %H:%M"),
             at(j.closed, "%d.%m.%Y %H:%M"), words[j.state], j.person, "brummt", "Elko", comma(j.minutes / 60),
             comma(j.cost)] for j in jobs()]
    shop.write("laufzettel.csv", table(
        ["Laufzettel", "Ident-Nr.", "Baumuster", "Werk", "Arbeitsumfang", "Zugang", "Abgang", "Verbleib",
         "Instandsetzer", "Kundenbeanstandung", "Fehlerursache", "Fertigungszeit [h]", "Mat.-Kosten"], rows, ";"),
        "cp1252")
    tests = [[f"L{j.number}", t, comma(3.3), comma(3.0), comma(3.6), "V", "i.O." if j.number % 7 else "n.i.O.",
              at(j.opened + timedelta(hours=2), "%d.%m.%Y %H:%M"), "MP2"] for j in jobs()
             for t in ("Ruhestrom", "Pegel")]
    shop.write("messprotokoll.csv", table(["Laufzettel", "Prüfmerkmal", "Istwert", "UGW", "OGW", "Einh.", "Urteil",
                                           "Geprüft am", "Messplatz"], tests, ";"), "cp1252")
    parts = [[f"L{j.number}", "4711-2", f"C{j.number % 5}", 1, comma(0.35)] for j in jobs()]
    shop.write("material.csv", table(["Laufzettel", "Artikel", "Charge", "Stk", "EP"], parts, ";"), "cp1252")
    shop.truth["laufzettel", "jobs"] = {
        "job_id": "Laufzettel", "unit_id": "Ident-Nr.", "model": "Baumuster", "site": "Werk",
        "procedure": "Arbeitsumfang", "opened_at": "Zugang", "closed_at": "Abgang", "disposition": "Verbleib",
        "technician": "Instandsetzer", "complaint": "Kundenbeanstandung", "found": "Fehlerursache",
        "labour_minutes": "Fertigungszeit [h]", "parts_cost": "Mat.-Kosten",
    }
    shop.truth["messprotokoll", "diagnostics"] = {
        "job_id": "Laufzettel", "test": "Prüfmerkmal", "value": "Istwert", "lower_limit": "UGW", "upper_limit": "OGW",
        "unit": "Einh.", "outcome": "Urteil", "run_at": "Geprüft am", "station": "Messplatz",
    }
    shop.truth["material", "parts"] = {
        "job_id": "Laufzettel", "part_no": "Artikel", "lot": "Charge", "quantity": "Stk", "unit_cost": "EP",
    }
    shop.values = {"Verbleib": {w: s for s, w in words.items()}, "Urteil": {"i.O.": "pass", "n.i.O.": "fail"}}
    return shop


def english_as_spoken(folder: Path) -> Shop:
    """A JSON document with a list of repairs, its keys as one would say them; a check sheet beside it."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("mended", "nothing wrong", "not worth it", "given back as it was", "called off",
                              "still here"), strict=True))
    shop.write("repairs.json", json.dumps({"shop": "Mill Lane", "repairs": [{
        "docket": f"D{j.number}", "asset": f"A{j.unit}", "kind": j.model, "branch": "Mill Lane", "job_done": "rebuild",
        "came_in": at(j.opened, CLOCK), "went_out": at(j.closed, CLOCK) or None, "ended_as": words[j.state],
        "done_by": j.person, "customer_says": "dead", "was_wrong": "fuse", "minutes_spent": j.minutes,
        "spares_cost": j.cost, "postage": 4.2, "who_pays": ("warranty", "customer")[j.number % 2]} for j in jobs()]}))
    checks = [[f"D{j.number}", at(j.closed or j.opened, CLOCK), j.person, "yes", "yes" if j.number % 6 else "no", "yes"]
              for j in jobs()]
    shop.write("final_check.csv", table(["Docket", "Date", "Checked by", "Powers up", "Charges", "Case shut"], checks))
    shop.truth["repairs", "jobs"] = {
        "job_id": "docket", "unit_id": "asset", "model": "kind", "site": "branch", "procedure": "job_done",
        "opened_at": "came_in", "closed_at": "went_out", "disposition": "ended_as", "technician": "done_by",
        "complaint": "customer_says", "found": "was_wrong", "labour_minutes": "minutes_spent",
        "parts_cost": "spares_cost", "freight_cost": "postage", "billing": "who_pays",
    }
    shop.sheets["final_check", "diagnostics"] = {"Powers up", "Charges", "Case shut"}
    shop.values = {"ended_as": {w: s for s, w in words.items()}, "outcome": {"yes": "pass", "no": "fail"},
                   "who_pays": {"customer": "paid", "warranty": "warranty"}}
    return shop


def italian_counter(folder: Path) -> Shop:
    """A shop that sends repairs on, and the steps of its workshop; other words than a dictionary gives first."""
    shop = Shop(folder)
    words = dict(zip(STATES, ("Riparato", "Nessuna anomalia", "Non conviene", "Restituito non riparato", "Rinuncia",
                              "In laboratorio"), strict=True))
    rows = [[f"{j.number}", f"IT{j.unit}", j.model, "Stazione", "display", at(j.opened, "%d/%m/%Y %H.%M"),
             at(j.closed, "%d/%m/%Y %H.%M"), words[j.state], j.person, "non si accende", "connettore",
             comma(j.minutes / 60), comma(j.cost), comma(6.5), ("garanzia", "cliente")[j.number % 2]] for j in jobs()]
    shop.write("schede.csv", table(
        ["Scheda n.", "Matricola/IMEI", "Apparecchio", "Punto vendita", "Tipo intervento", "Preso in carico il",
         "Riconsegnato il", "Stato finale", "Riparatore", "Difetto dichiarato", "Difetto riscontrato", "Ore lavorate",
         "Spese ricambi", "Spese corriere", "A carico di"], rows, ";"))
    steps = [[f"{j.number}", n, s, r, at(j.opened + timedelta(minutes=5 * n), "%d/%m/%Y %H.%M"),
              at(j.opened + timedelta(minutes=5 * n + 4), "%d/%m/%Y %H.%M"), j.person, "Banco 2"]
             for j in jobs() for n, s, r in ((1, "smontaggio", "eseguito"),
                                             (2, "collaudo", "idoneo" if j.number % 8 else "non idoneo"))]
    shop.write("fasi.csv", table(["Scheda n.", "Progr.", "Fase", "Giudizio", "Ora inizio", "Ora fine", "Operatore",
                                  "Banco di lavoro"], steps, ";"))
    shop.truth["schede", "jobs"] = {
        "job_id": "Scheda n.", "unit_id": "Matricola/IMEI", "model": "Apparecchio", "site": "Punto vendita",
        "procedure": "Tipo intervento", "opened_at": "Preso in carico il", "closed_at": "Riconsegnato il",
        "disposition": "Stato finale", "technician": "Riparatore", "complaint": "Difetto dichiarato",
        "found": "Difetto riscontrato", "labour_minutes": "Ore lavorate", "parts_cost": "Spese ricambi",
        "freight_cost": "Spese corriere", "billing": "A carico di",
    }
    shop.truth["fasi", "steps"] = {
        "job_id": "Scheda n.", "step_seq": "Progr.", "step": "Fase", "outcome": "Giudizio", "started_at": "Ora inizio",
        "ended_at": "Ora fine", "technician": "Operatore", "bench": "Banco di lavoro",
    }
    shop.values = {"Stato finale": {w: s for s, w in words.items()}, "A carico di": {"garanzia": "warranty",
                                                                                   "cliente": "paid"},
                   "Giudizio": {"eseguito": "done", "idoneo": "pass", "non idoneo": "fail"}}
    return shop


OTHER_FOUR: tuple[Callable[[Path], Shop], ...] = (danish_counter, german_routing_slip, english_as_spoken,
                                                  italian_counter)
