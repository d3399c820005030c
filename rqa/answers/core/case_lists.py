"""From a figure to what it counts: the jobs (or checks, runs, come-backs) behind an answer or one of its rows.

A type of answer says in `lists` which SQL file lists what it counts, and by which marks of the list each of its counts
is told. That file rests on the same views and table macros as the one that counts, so that both are of one definition.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from rqa.measures.run import Kept

RATE = "labour_rate"
"""What of the mapping says the cost of an hour of labour."""
RETURNED = "returned"
"""The count of an answer that its come-backs are."""
EVER = 1_000_000
"""More days than any come-back took: what it cost is told however late it came."""
JOBS = ("job", "jobs")
ATTEMPTS = ("attempt", "attempts")
CHECKS = ("check", "checks")
RUNS = ("run", "runs")
COMEBACKS = ("come-back", "come-backs")
UNITS = ("unit", "units")
CHOSEN = "listed_chosen"
MEASURED: Mapping[str, str] = MappingProxyType({name: name for name in ("unit", "lower_limit", "upper_limit")})
"""What tells readings of a test apart beside its groups, here and in their list."""


@dataclass(frozen=True)
class Count:
    """How the cases of one count are told from the others of its list.

    They carry all `marks`, and meet what is `kept` (column, comparison, value). `classed`: they are come-backs, of the
    classes asked about alone. `at`: how a row's key keeps them where that is not by being equal to a column of the
    list: column and comparison, or None where every row has them all. `per`: a row's key, and the marks that go with
    each of its values. `file`, `rows` and `where` stand in the place of the list's own.
    """

    marks: tuple[str, ...] = ()
    classed: bool = False
    at: Mapping[str, tuple[str, str] | None] = field(default_factory=dict)
    per: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    kept: Kept = ()
    file: str = ""
    rows: tuple[str, str] | None = None
    where: Mapping[str, tuple[str, ...]] | None = None


@dataclass(frozen=True)
class CaseList:
    """Which file lists what an answer counts, and how each count is told in it.

    `counts` are columns of the answer; the first is what `.jobs()` lists, and `returned` that of its come-backs. `rows`
    says what a row of the list is, one and several. `keys` gives the list's own name for a key of the answer, and
    `whole` what a key is where no row is named. `values` go to the file beside what the answer's settings say. `where`
    stands in the place of theirs. `joined` says what stands between several names in a key. `of_rows` are the keys of
    an answer whose table leaves rows out: its list is of the rows that the table has, and of no others.
    """

    file: str
    counts: Mapping[str, Count]
    rows: tuple[str, str] = JOBS
    keys: Mapping[str, str] = field(default_factory=dict)
    whole: Mapping[str, object] = field(default_factory=dict)
    values: Mapping[str, object] = field(default_factory=dict)
    where: Mapping[str, tuple[str, ...]] | None = None
    returned: str = RETURNED
    joined: Mapping[str, str] = field(default_factory=dict)
    of_rows: tuple[str, ...] = ()

    def of(self, count: str) -> "CaseList":
        """The same with what one count has of its own."""
        own = self.counts[count]
        return replace(
            self, file=own.file or self.file, rows=own.rows or self.rows,
            where=self.where if own.where is None else own.where,
        )


OWN_JOBS = CaseList(CHOSEN, {"rows": Count()})
"""The list of an answer whose rows name jobs themselves: those of the rows that are asked for."""


def marked(*names: str) -> dict[str, Count]:
    """Counts that are each told by the mark of their own name."""
    return {name: Count((name,)) for name in names}
