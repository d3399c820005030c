"""The page's section on its own making: what it stands on, how to make it again, what changed since the last one."""

import hashlib
from collections.abc import Sequence
from datetime import date
from importlib.metadata import version

from rqa.answers.core.contrasts import SMALLEST
from rqa.answers.core.grounds import Sentence
from rqa.depot import Depot
from rqa.measures.run import measure_sql
from rqa.review.facts import PageTable, Pointer, Section, Verdict
from rqa.review.ledger import LEDGER, Record, changes
from rqa.words import month_name

NO_FINDING = Sentence("")


def fingerprint(depot: Depot) -> str:
    """A digest of what the store was loaded from: files, their contents, their mapping, in the order of loading.

    A load that finds nothing new does not change it. It says nothing of the store file's own bytes.
    """
    books = depot.query(measure_sql("files_read"))
    loads = {load: place for place, load in enumerate(books["load_id"].unique().sort().to_list())}
    lines = [f"{loads[r[-1]]}\x1f" + "\x1f".join(map(str, r[:-1])) for r in books.iter_rows()]
    return hashlib.sha256("\x1e".join(lines).encode()).hexdigest()[:16]


def record(
    depot: Depot,
    month: date,
    verdicts: tuple[Verdict, ...],
    sections: tuple[Section, ...] = (),
    pointers: tuple[Pointer, ...] = (),
    quiet: Sentence = NO_FINDING,
) -> Record:
    """What a later page of the same month compares itself with: figures, goals, findings, cost, verdicts on actions.

    `quiet` is said where there are no `pointers`.
    """
    own = month_name(month)
    said = {
        v.measure: (v.month, "no data" if v.share == "no data" else f"{v.share} ({v.counts}), {v.before} before")
        for v in verdicts
    }
    none = "none" if quiet.told else "cannot be told"
    said["findings"] = (own, ", ".join(p.id for p in pointers) or none)
    tables = {f.key: f.table for s in sections for f in s.figures}
    tables |= {s.key: t for s in sections for t in s.tables if s.key == "goals"}
    for name, goal, when, met, *_ in tables["goals"].rows if "goals" in tables else ():
        said[f"goal of {name}"] = (when, f"{met} ({goal})")
    for when, number, known, amount, *_ in tables["cost-months"].rows if "cost-months" in tables else ():
        if when == own:
            said["cost of come-backs"] = (own, f"{amount} ({known} of {number} with known cost)")
    for action, _, _, before, after, *_, verdict in tables["verdicts"].rows if "verdicts" in tables else ():
        said[action] = (own, f"{verdict} ({before} before, {after} after)")
    return Record(f"{month:%Y-%m}", depot.as_of.date().isoformat(), fingerprint(depot), said)


def provenance(depot: Depot, own: Record, earlier: Sequence[Record]) -> Section:
    """As-of day, fingerprint, versions and settings; and what changed since the page of this month written before."""
    about = depot.about
    rate = about.get("labour_rate")
    rows = [
        ("month", month_name(own.month)),
        ("as of", own.as_of),
        ("fingerprint of what was loaded", own.fingerprint),
        ("rqa", version("rqa")),
        ("store written by rqa", about.get("rqa_version", "unknown")),
        ("format of the store", about.get("format_version", "unknown")),
        ("windows", "30 and 90 days"),
        ("intervals", "95 %"),
        ("false discoveries", "held at 5 %"),
        ("smallest group shown", f"{SMALLEST} cases"),
        ("labour rate", f"{rate} {about.get('currency', '')} an hour".replace("  ", " ") if rate else "none given"),
    ]
    words = (
        "The same store looked at as of the same day gives this page again, byte for byte: rqa review WORKSPACE "
        f"--month {own.month} --as-of {own.as_of}. What is said below of earlier pages is from {LEDGER} beside it. "
        "The fingerprint tells whether a store was loaded from the same files with the same mapping.",
    )
    return Section(
        "reproduced", "Can be reproduced", None, words, points=changes(own, earlier),
        tables=(PageTable("What this page stands on", ("what", "value"), tuple(rows), 2),),
    )
