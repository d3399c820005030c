"""What tests catch, with the bounds of what is not known, and the come-backs that none covers: a figure a row."""

from textwrap import wrap
from typing import Any

from rqa.answers.core.grounds import Sentence
from rqa.answers.core.needs import said_of
from rqa.answers.tests.coverage import CoverageGap
from rqa.answers.tests.escapes import Escapes
from rqa.plots.pictures import draws
from rqa.plots.reading import by_of
from rqa.plots.tests.share_rows import drawn, ordered, row_of
from rqa.plots.theme import WIDTH, nothing
from rqa.words import count, counted, interval, known, listed, percent, spoken

GAP = "Come-backs that no test covers"
SAID = 12
"""Covered subsystems named."""
ACROSS = 66
"""Letters on a line of a narrow picture."""


@draws(Escapes)
def plot_escapes(answer: Escapes, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """The share of faults caught, on each row, in the band that what is not known leaves open; the lowest first."""
    rows = []
    for r in answer.table.iter_rows(named=True):
        row = row_of(
            answer, r, share="sensitivity", why="no fault known, neither caught nor escaped",
            beside=f"{count(r['caught'])} caught  ·  {count(r['escaped'])} escaped  ·  {percent(r['sensitivity'])}",
        )
        if known(r["lower_bound"]) and row["value"] is not None:
            top = r["upper_bound"] if known(r["upper_bound"]) else 1.0
            row |= {"from": r["lower_bound"], "to": top}
            row["interval"] += f"; with what is not known {interval(r['lower_bound'], top)}"
        rows.append(row)
    order = ordered(answer, rows, "lowest first")
    subtitle = ["dot = faults caught before release, of those caught or escaped",
                f"line = {{level}} interval{order}",
                "band = from all that is not known an escape, to all of it caught"]
    return drawn(answer, rows, "Faults that the tests caught", subtitle, headed, width)


def _no_gap(answer: CoverageGap) -> Sentence:
    """That every fault found on return is covered, of how many come-backs, and of how many nothing is known."""
    whole = answer.whole.row(0, named=True) if answer.whole is not None and answer.whole.height else {}
    found, unknown = whole.get("returned", int(answer.table["returned"].sum())), whole.get("not_known", 0)
    others = f" In {counted(unknown, 'other come-back')} no fault was found or written down." if unknown else ""
    return said_of(answer, f"Some test covers what was found in each of {counted(found, 'come-back')}.{others}")


@draws(CoverageGap)
def plot_coverage(answer: CoverageGap, *, headed: bool = True, width: int | str = WIDTH, selection: bool = True) -> Any:
    """Come-backs whose fault no test covers, as a share of all of them, the most first; what is covered in words."""
    table = answer.table
    open_ones = table.filter(table["uncovered"] > 0)
    if not open_ones.height:
        return nothing(title=GAP, why=_no_gap(answer), headed=headed, width=width, said="no gap")
    currency = str(answer.settings.get("currency") or "")
    rows = []
    for r in open_ones.iter_rows(named=True):
        cost = f"  ·  {r['cost']:,.0f} {currency}".rstrip() if known(r["cost"]) else ""
        rows.append(
            row_of(answer, r, share="share", why="",
                   beside=f"{count(r['uncovered'])} of {count(r['returned'])}{cost}  ·  {percent(r['share'])}")
        )
    subtitle = ["dot = come-backs that no test covers, of all with a known fault", "line = {level} interval"]
    if answer.whole is not None and answer.whole.height:
        whole = answer.whole.row(0, named=True)
        subtitle[1] += f"; in all {count(whole['uncovered'])} of {count(whole['returned'])}, {percent(whole['share'])}"
    if by_of(answer) == ("subsystem",) and open_ones.height < table.height:
        covered = [spoken(v) for v in table.filter(table["uncovered"] == 0)["subsystem"].to_list()]
        named = f"covered by a test: {listed(covered[:SAID])}{', …' if len(covered) > SAID else ''}"
        subtitle += wrap(named, ACROSS)
    top = max(float(row["high"]) for row in rows)
    return drawn(answer, rows, GAP, subtitle, headed, width, domain=(0.0, min(1.0, max(0.05, top))))
