"""The page's section on safety: every breach of the battery's order in the month, job by job, apart from all rates."""

from datetime import date

from rqa.answers.scope import month_end
from rqa.review.asked import Asked
from rqa.review.facts import Section, Table
from rqa.words import count, month_name, spoken

LISTED = 30
STEPS = """
select count(*) as steps
from steps
join jobs using (job_id)
where closed_on between date '{first}' and date '{last}'
"""
KINDS = {"isolated_late": "battery isolated late", "reconnected_early": "battery reconnected early"}


def safety(depot: Asked, month: date) -> Section:
    """The month's breaches; names are left out."""
    answer = depot.battery_breaches(months=month)
    rows = answer.table
    if rows.is_empty():
        if not depot.query(STEPS.format(first=month, last=month_end(month)))["steps"][0]:
            words = f"No step of the jobs closed in {month_name(month)} is logged: nothing can be said of the battery."
            return Section("safety", "Safety", (words,), notes=tuple(answer.notes))
        words = f"In {month_name(month)} no job is logged with the battery isolated late or reconnected early."
        return Section("safety", "Safety", (words,), notes=tuple(answer.notes))
    words = (
        f"In {month_name(month)} the battery is logged as isolated late or reconnected early {count(rows.height)} "
        f"time{'s' if rows.height != 1 else ''}. Speak about each with those who were there: it is no rate, but safety."
    )
    cells = tuple(
        (r["job_id"], r["site"] or "–", f"{r['day']}", KINDS.get(r["kind"], spoken(r["kind"])), r["what"])
        for r in rows.head(LISTED).iter_rows(named=True)
    )
    shown = f" (the first {LISTED} of {count(rows.height)})" if rows.height > LISTED else ""
    table = Table(f"Breaches of the battery's order{shown}", ("job", "site", "day", "what", "as logged"), cells, 5)
    return Section("safety", "Safety", (words,), notes=tuple(answer.notes), tables=(table,))
