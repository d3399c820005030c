"""The jobs behind each finding that the page lists: those that came back, where it is about come-backs."""

from datetime import date
from functools import cache

import polars as pl

from rqa.answers.core.finding import Finding
from rqa.answers.core.job_lists import JobList
from rqa.answers.improve.findings import MonthFindings
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.review.facts import CasesListed, PageTable
from rqa.review.texts import HIDDEN
from rqa.words import count, counted, spoken

LISTED = 50
"""Rows of a list on the page."""
COLUMNS = {
    "job_id": "job", "unit_id": "unit", "site": "site", "model": "model", "procedure": "procedure",
    "closed_on": "closed", "days_out": "days out", "class": "class", "found": "found then", "outcome": "outcome",
}
"""What a list says of a job, of its come-back, and of its check or run."""
FAILED = "fail"
COMMAND = "rqa jobs WORKSPACE --finding {id} --month {month:%Y-%m}{returned} --to list.xlsx"
REST = "These are the latest {shown} of {all}. "
REST_FAILED = "These are {shown} of {all}, the failed ones first. "
AS_FILE = "As a file: {command}"
NOT_NAMED = "The jobs are not named here; the quality lead has the list."


class FindingJobs:
    """The lists of a month's findings, each asked for once."""

    def __init__(self, depot: Depot, found: MonthFindings, month: date) -> None:
        self._found, self._month = found, month
        self._by_id = {f.id: f for f in found.findings}
        self._hidden = depot.about.get(HIDDEN[0]) == HIDDEN[1]
        self.returned, self.of = cache(self._returned), cache(self._of)

    def ids_returned(self, name: str) -> frozenset[str]:
        """The jobs of a finding that came back; none where it has no list of them."""
        made = self.returned(name)
        return frozenset() if made is None else frozenset(made.table["job_id"].to_list())

    def _returned(self, name: str) -> JobList | None:
        try:
            return self._found.returned(id=name)
        except RequestError:
            return None

    def _of(self, name: str) -> CasesListed | None:
        """The list of a finding; None where it counts no jobs. It has as many cases as the finding counts."""
        f = self._by_id[name]
        back = self.returned(name) if f.avoided is not None else None
        if back is not None and back.table.height == f.events:
            what = counted(back.table.height, "come-back")
            return self._listed(f, back.table.reverse(), what, " --returned")
        try:
            made = self._found.jobs(id=name)
        except RequestError:
            return None
        ordered = made.table.reverse()
        if "outcome" in ordered.columns:
            ordered = ordered.sort(pl.col("outcome") != FAILED, maintain_order=True)
        return self._listed(f, ordered, str(made.notes[0]).rstrip("."), "")

    def _listed(self, f: Finding, cases: pl.DataFrame, what: str, returned: str) -> CasesListed:
        """`cases` in the order in which they are shown."""
        if self._hidden and "breach" in f.scope:
            return CasesListed(f.id, f.where, what, cases.height, PageTable(f"{f.where}: {what}", (), ()), NOT_NAMED)
        first = cases.head(LISTED)
        names = [n for n in COLUMNS if n in first.columns and first[n].null_count() < first.height]
        rows = tuple(tuple(_cell(value) for value in row) for row in first.select(names).iter_rows())
        rest = ""
        if cases.height > LISTED:
            said = REST_FAILED if "outcome" in names else REST
            rest = said.format(shown=LISTED, all=count(cases.height))
        command = COMMAND.format(id=f.id, month=self._month, returned=returned)
        heads = tuple(COLUMNS[name] for name in names)
        return CasesListed(
            f.id, f.where, what, cases.height, PageTable(f"{f.where}: {what}", heads, rows, len(heads)),
            f"{rest}{AS_FILE.format(command=command)}",
        )


def _cell(value: object) -> str:
    return "–" if value is None else f"{value}" if isinstance(value, date | int) else spoken(value)
