"""What headers say by themselves: usual ones are known, and none that means something else is taken for sure."""

import pytest

from rqa.contract import TABLES
from rqa.proposals.matching import LOGS, SURE
from rqa.proposals.vocabulary import code_of, folded, notions_of, sure_of, vocabulary

KNOWN = [
    ("jobs", "job_id", "Work Order No."), ("jobs", "job_id", "Auftrags-Nr."), ("jobs", "job_id", "N° de dossier"),
    ("jobs", "job_id", "Numero ordine"), ("jobs", "job_id", "Opdrachtnummer"), ("jobs", "job_id", "NR_ZLECENIA"),
    ("jobs", "unit_id", "serialNumber"), ("jobs", "unit_id", "Geräte-Seriennummer"), ("jobs", "unit_id", "Nº de série"),
    ("jobs", "opened_at", "Eingangsdatum"), ("jobs", "opened_at", "Date de réception"), ("jobs", "opened_at",
                                                                                         "date_in"),
    ("jobs", "opened_at", "Data przyjęcia"), ("jobs", "closed_at", "Ausgeliefert am"), ("jobs", "closed_at",
                                                                                        "Datum gereed"),
    ("jobs", "closed_at", "Fecha de salida"), ("jobs", "technician", "Techniker"), ("jobs", "technician",
                                                                                    "Repaired by"),
    ("jobs", "labour_minutes", "Arbeitszeit (min)"), ("jobs", "labour_minutes", "labor hours"),
    ("jobs", "parts_cost", "Coût des pièces"), ("jobs", "freight_cost", "Versandkosten"),
    ("steps", "step", "Arbeitsgang"), ("steps", "step_seq", "Lfd. Nr."), ("steps", "ended_at", "Ende"),
    ("steps", "technician", "Controleur"), ("steps", "technician", "Inspecteur"),
    ("steps", "attempt", "Tentativa"), ("steps", "bench", "Werkbank"), ("diagnostics", "lower_limit",
                                                                        "Limite inférieure"),
    ("diagnostics", "upper_limit", "Obere Grenze"), ("diagnostics", "value", "Valor medido"),
    ("diagnostics", "run_at", "Test date"), ("parts", "part_no", "Ersatzteil-Nr"), ("parts", "quantity", "Menge"),
    ("parts", "unit_cost", "Precio unitario"), ("parts", "lot", "Chargennummer"),
]
OTHERS = [
    "Technician notes", "Technician phone", "Purchase date", "Warranty end date", "Invoice number", "Customer order no",
    "Quote status", "Payment date", "Last update", "Modified on", "Quote amount", "Total price", "Customer type",
    "New serial number", "Serial number (old)", "Parent job", "Previous job id", "Created by", "Received by",
    "Delivery note",
    "Estimated hours", "Planned end", "Due date", "Number of tests", "Number of units", "Kundennummer",
    "Rechnungsdatum", "Letzte Änderung", "Angelegt von", "Kaufdatum", "Waiting time", "Team", "Supervisor",
    "Cost centre",
    "Site contact", "Branch manager", "Tracking number", "Garantie bis", "Date d'achat", "Ancien numéro de série",
    "Nombre client", "Data zakupu", "Uwagi", "Observaciones", "Model year",
]


@pytest.mark.parametrize(("table", "column", "header"), KNOWN)
def test_a_usual_header_is_known(table: str, column: str, header: str) -> None:
    assert sure_of(header, table, column) >= SURE


@pytest.mark.parametrize("header", OTHERS)
def test_a_header_that_means_something_else_is_never_sure(header: str) -> None:
    times = {"Created by", "Received by", "Angelegt von", "Warranty end date", "Garantie bis"}
    sure = [
        f"{t}.{c.name}" for t in LOGS for c in TABLES[t].columns
        # Names of people are no times, so these headers cannot be taken for one.
        if sure_of(header, t, c.name) >= SURE and not (header in times and c.kind == "time")
    ]
    assert sure == []


def test_every_notion_of_a_column_has_words() -> None:
    words = set().union(*vocabulary().words.values())
    used = {n for table in vocabulary().columns.values() for ways in table.values() for made, _ in ways for n in made}
    assert used <= words
    for table, columns in vocabulary().columns.items():
        assert set(columns) <= set(TABLES[table].names)


def test_every_text_of_a_status_means_one_code_of_a_column() -> None:
    columns = {"disposition": ("jobs", "disposition"), "billing": ("jobs", "billing")}
    for kind, codes in vocabulary().values.items():
        outcomes = ("steps", "diagnostics") if kind == "outcome" else ()
        for allowed in [TABLES[t].column("outcome").allowed for t in outcomes] or [
            TABLES[columns[kind][0]].column(columns[kind][1]).allowed
        ]:
            for code, texts in codes.items():
                if code in allowed:
                    others = {t for c, given in codes.items() if c != code and c in allowed for t in given}
                    assert texts & others == set(), (kind, code)
                    assert {code_of(t, kind, allowed)[0] for t in texts} <= {code}
        assert vocabulary().unsure[kind] <= set().union(*codes.values())


@pytest.mark.parametrize(("text", "same"), [("Gerät", "GERAET"), ("Żółć", "zolc"), ("Numéro", "NUMERO"), ("ArtikelNr",
                                                                                                          "artikel_nr")])
def test_accents_and_capitals_make_no_difference(text: str, same: str) -> None:
    assert folded(text) == folded(same)


def test_compound_words_are_taken_apart() -> None:
    assert [sorted(n) for n in notions_of("Auftragseingangsdatum")] == [["job"], ["open"], ["time"]]
