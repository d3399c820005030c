"""One healthy small depot, unlike the demo: an invented wheelchair workshop of some 300 repairs, every column filled.

One bench, one long procedure and a short one, names with accents, spaces, a quote and a comma, two sites in two zones.
Rows are texts, as an export has them. Planted, so that questions have something to find: chairs "Zéphyr Électrique, 2"
often come back with the brake, more so after the cable was set a second time and with one lot of the cable.
"""

import random
from datetime import date, datetime, timedelta

Row = dict[str, str]
Tables = dict[str, list[Row]]

FIRST = datetime(2024, 6, 3, 8, 0)
LAST = datetime(2025, 9, 30, 18, 0)
SITES = {"Atelier Été": "Europe/Paris", 'Øst "værksted"': "Europe/Copenhagen"}
MODELS = ("Fauteuil Léger", "Zéphyr Électrique, 2")
PEOPLE = ("équipe A", "équipe B", "Personne n° 3")
BENCH = "établi unique"
LOTS = ("L 01", "L 02", "L 03")
BAD_LOT = "L 02"
LONG, SHORT = "révision complète", "pneu + frein"
HUBS = ("avant gauche", "avant droit", "arrière gauche", "arrière droit")
PLACES: dict[str, list[tuple[str, str, str, str]]] = {
    LONG: [
        ("photographier", "open", "cadre", ""),
        ("ôter l'assise", "open", "assise", "pinch"),
        ("isoler la batterie", "isolate", "batterie", "battery;esd"),
        ("débrancher le câble moteur", "release", "moteur;câblage", "latch"),
        ("débrancher le joystick", "release", "commande;câblage", "latch"),
        *((f"déposer la roue {hub}", "remove", "roues", "heat") for hub in HUBS),
        *((f"graisser le moyeu {hub}", "fit", "roues", "sharp_edge") for hub in HUBS),
        *((f"remonter la roue {hub}", "fit", "roues", "mixed_fasteners") for hub in HUBS),
        ("changer le câble de frein", "fit", "frein", "pinch"),
        ("rebrancher le joystick", "reseat", "commande;câblage", "latch"),
        ("rebrancher le câble moteur", "reseat", "moteur;câblage", "latch;pinch"),
        ("écrire le numéro de série", "fit", "commande", ""),
        ("rebrancher la batterie", "reseat", "batterie", "battery"),
        ("régler le frein", "align", "frein", "alignment"),
        ("serrer la vis finale", "close", "cadre", "mixed_fasteners"),
        ("contrôler le frein", "verify", "frein", ""),
        ("remettre l'assise", "close", "assise", "adhesive"),
    ],
    SHORT: [
        ("isoler la batterie", "isolate", "batterie", "battery"),
        ("changer le pneu", "fit", "roues", "sharp_edge"),
        ("régler le frein", "align", "frein", "alignment"),
        ("contrôler le frein", "verify", "frein", ""),
    ],
}
CHECKED = ("fit", "reseat", "align", "verify")
TESTS = {"essai de roulage": "moteur", "tension à vide": "batterie", "course du frein": "frein"}
MEASURED = {"tension à vide": ("V", 25.4, 0.35, "24.5", "27.0"), "course du frein": ("mm", 9.0, 1.1, "6", "12")}
SUBSYSTEMS = ("frein", "moteur", "batterie", "roues", "commande")


def healthy(units: int = 230, seed: int = 7) -> Tables:
    """The workshop's tables, in the columns of the contract; with their come-backs, the units make some 300 jobs."""
    chance = random.Random(seed)
    tables: Tables = {name: [] for name in ("jobs", "steps", "diagnostics", "parts")}
    tables |= _references(chance)
    for number, visit in enumerate(_visits(chance, units), start=1):
        _write_down(chance, tables, f"OT-{number:04d} é", visit)
    return tables


def _visits(chance: random.Random, units: int) -> list[Row]:
    """Who comes when, with what; model and lot of the cable decide whether the unit comes again."""
    made: list[Row] = []
    span = (LAST - FIRST) / units
    for n in range(units):
        model = MODELS[n % 3 == 0]
        opened = FIRST + span * n + timedelta(minutes=chance.randrange(120))
        row = {
            "unit_id": f"N° {1000 + n}",
            "model": model,
            "site": list(SITES)[chance.random() < 0.3],
            "procedure": chance.choice((LONG, LONG, SHORT)),
            "opened_at": opened.isoformat(sep=" ", timespec="minutes"),
            "complaint": chance.choice(SUBSYSTEMS),
            "lot": chance.choice(LOTS),
        }
        made.append(row)
        back, came = row, opened
        while chance.random() < _return_chance(back):
            came += timedelta(days=1 + int(chance.expovariate(1 / 25)), hours=chance.randrange(9))
            if came >= LAST - timedelta(days=6):
                break
            named = chance.choice(("frein", "frein", *SUBSYSTEMS))
            back = row | {"opened_at": came.isoformat(sep=" ", timespec="minutes"), "complaint": named}
            back["lot"] = chance.choice(LOTS)
            made.append(back)
    return sorted(made, key=lambda row: row["opened_at"])


def _return_chance(row: Row) -> float:
    return 0.08 + 0.22 * (row["model"] == MODELS[1]) + 0.2 * (row["lot"] == BAD_LOT)


def _write_down(chance: random.Random, tables: Tables, job_id: str, visit: Row) -> None:
    """One visit's rows: the job, its steps, its tests, its parts."""
    opened = datetime.fromisoformat(visit["opened_at"])
    person = chance.choice(PEOPLE)
    clock = _log_steps(chance, tables, job_id, visit["procedure"], person, opened + timedelta(hours=1))
    disposition = chance.choices(
        ("repaired", "no_fault_found", "not_economic", "returned_unrepaired", "cancelled"), (88, 5, 3, 2, 2)
    )[0]
    clock = _log_tests(chance, tables, job_id, clock)
    is_open = opened > LAST - timedelta(days=4)
    tables["jobs"].append({
        "job_id": job_id,
        **{name: visit[name] for name in ("unit_id", "model", "site", "procedure", "opened_at")},
        "disposition": "open" if is_open else disposition,
        "closed_at": "" if is_open else (clock + timedelta(minutes=20)).isoformat(sep=" ", timespec="minutes"),
        "complaint": visit["complaint"],
        "found": "" if disposition == "no_fault_found" else chance.choice((visit["complaint"], *SUBSYSTEMS)),
        "technician": person,
        "billing": chance.choice(("warranty", "paid", "paid", "goodwill")),
        "labour_minutes": str(40 + chance.randrange(90)),
        "parts_cost": f"{chance.uniform(5, 180):.2f}",
        "freight_cost": f"{chance.uniform(8, 30):.2f}",
    })
    fitted = [("CÂBLE-F", visit["lot"], "12.50"), ('PNEU 24"', "P 9", "31.00")]
    if chance.random() < 0.3:
        fitted.append(("MOTEUR-D", "M 1", "240.00"))
    for line, (part_no, lot, cost) in enumerate(fitted, start=1):
        tables["parts"].append({"job_id": job_id, "line": str(line), "part_no": part_no, "lot": lot,
                                "quantity": "1", "unit_cost": cost})


def _log_steps(
    chance: random.Random, tables: Tables, job_id: str, procedure: str, person: str, clock: datetime
) -> datetime:
    places = list(enumerate(PLACES[procedure], start=1))
    if chance.random() < 0.15:
        place = next(i for i, (_, (step, *_)) in enumerate(places) if step == "isoler la batterie")
        places[place], places[place + 1] = places[place + 1], places[place]
    for seq, (step, phase, _, _) in places:
        again = phase in CHECKED and chance.random() < (0.15 if "frein" in step else 0.05)
        skipped = phase == "verify" and chance.random() < 0.08
        for attempt in (1, 2) if again and not skipped else (1,):
            passed = "pass" if phase in CHECKED else "done"
            outcome = "skipped" if skipped else "fail" if again and attempt == 1 else passed
            ended = clock + timedelta(minutes=4 + chance.randrange(6))
            tables["steps"].append({
                "job_id": job_id, "step_seq": str(seq), "attempt": str(attempt), "step": step, "outcome": outcome,
                "technician": person, "bench": BENCH, "tool": chance.choice(("clé 5 mm", "clé dynamométrique")),
                "started_at": clock.isoformat(sep=" ", timespec="seconds"),
                "ended_at": ended.isoformat(sep=" ", timespec="seconds"),
                "fault": chance.choice(("jeu", "câble mal posé")) if outcome == "fail" else "",
                "value": f"{chance.gauss(6, 0.4):.2f}" if "serrer" in step else "",
            })
            clock = ended
    return clock


def _log_tests(chance: random.Random, tables: Tables, job_id: str, clock: datetime) -> datetime:
    for test in TESTS:
        station = chance.choice(("poste 1", "poste 2"))
        for run in ("1", "2", "3"):
            clock += timedelta(minutes=5)
            unit, value, low, high, failed = "", "", "", "", chance.random() < 0.08
            if test in MEASURED:
                unit, middle, spread, low, high = MEASURED[test]
                read = chance.gauss(middle, spread)
                value, failed = f"{read:.2f}", not float(low) <= round(read, 2) <= float(high)
            tables["diagnostics"].append({
                "job_id": job_id, "test": test, "run": run, "outcome": "fail" if failed else "pass",
                "run_at": clock.isoformat(sep=" ", timespec="seconds"), "station": station, "value": value,
                "lower_limit": low, "upper_limit": high, "unit": unit,
            })
            if not failed:
                break
    return clock


def _references(chance: random.Random) -> Tables:
    places = [
        {
            "procedure": procedure, "step_seq": str(seq), "step": step, "phase": phase, "subsystems": subsystems,
            "hazards": hazards, "opportunities": "2" if phase == "reseat" else "1",
            "hold_point": "true" if phase == "isolate" or step == "contrôler le frein" else "false",
            "irreversible": "true" if step == "écrire le numéro de série" else "false",
            "must_follow": "régler le frein" if step == "contrôler le frein" else "",
        }
        for procedure, steps in PLACES.items()
        for seq, (step, phase, subsystems, hazards) in enumerate(steps, start=1)
    ]
    actions = [
        (
            "A-1",
            "gabarit de câble",
            date(2025, 2, 3),
            f'model="{MODELS[1]}"; procedure={LONG}',
            "by half",
            "2025-08-01",
        ),
        ("A-2", "formation", date(2025, 6, 2), "technician=équipe A", "", ""),
    ]
    return {
        "procedures": places,
        "pairings": [{"part_no": "MOTEUR-D", "requires_part_no": "CAPTEUR"}],
        "tests": [{"test": test, "subsystem": subsystem} for test, subsystem in TESTS.items()],
        "retirements": [{"unit_id": f"N° {1000 + n}", "retired_at": "2025-07-15 12:00"} for n in range(0, 60, 12)],
        "actions": [
            {"action_id": key, "what": what, "started_on": str(day), "scope": scope, "finding_id": "F-00000000",
             "owner": "atelier", "expected_change": expected, "closed_on": closed}
            for key, what, day, scope, expected, closed in actions
        ],
        "targets": [
            {"measure": measure, "from_month": "2024-06", "value": value}
            for measure, value in (("comebacks_30", "0.08"), ("comebacks_90", "0.15"), ("clean_jobs", "0.5"))
        ],
        "studies": [
            {"study": "tension", "unit": f"B{unit}", "appraiser": f"poste {who}", "trial": str(trial),
             "value": f"{25 + unit / 5 + chance.gauss(0, 0.05):.3f}", "outcome": "",
             "reference": f"{25 + unit / 5:.1f}", "test": "tension à vide"}
            for unit in range(1, 9) for who in (1, 2) for trial in (1, 2)
        ] + [
            {"study": "jeu", "unit": f"F{unit}", "appraiser": who, "trial": str(trial), "value": "",
             "outcome": "fail" if unit % 3 == 0 and chance.random() < 0.9 else "pass",
             "reference": "fail" if unit % 3 == 0 else "pass", "test": ""}
            for unit in range(1, 13) for who in PEOPLE for trial in (1, 2)
        ],
    }
