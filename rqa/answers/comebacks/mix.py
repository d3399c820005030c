"""What come-backs are made up of, group by group: do the groups differ in their mix, and in which parts."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from rqa.answers.comebacks.return_matrix import asked_findings, settings_of
from rqa.answers.core.case_lists import COMEBACKS, CaseList, Count
from rqa.answers.core.grounds import grounds
from rqa.answers.core.own_work import CONFIRMED
from rqa.answers.core.readable import NUMBER
from rqa.answers.core.result import Answer, rounded, rounded_p_values, with_shares
from rqa.answers.core.scope import By, Months, Scope, Snapshot, Where, check_one_of
from rqa.words import counted, listed, spoken

if TYPE_CHECKING:
    import polars as pl

    from rqa.stats import ContingencyTest

QUESTION = "comeback_mix"
MADE_OF = ("found", "complaint", "repaired", "class")
GROUNDS_OF = {"found": ("found",), "class": ("found",)}
FALSE_SHARE = 0.05
MORE, FEWER, SAME = "more", "fewer", "no difference shown"
HOW = {
    "chi-squared": "chi-squared test", "exact": "exact test over all tables with the same totals",
    "monte-carlo": "test by tables drawn with the same totals",
}


@dataclass(frozen=True, eq=False, repr=False)
class ComebackMix(Answer):
    """What come-backs are made up of: returned, share, low, high, expected, residual, p_adjusted, verdict.

    `statistic`, `degrees_of_freedom`, `p_value` and `method` are those of the table as a whole; None without a table.
    """

    statistic: float | None = field(default=None, kw_only=True)
    degrees_of_freedom: int = field(default=0, kw_only=True)
    p_value: float | None = field(default=None, kw_only=True)
    method: str = field(default="", kw_only=True)

    question = "Mix of come-backs"
    units: ClassVar[Mapping[str, str]] = {"expected": NUMBER, "residual": NUMBER}

    def also_needs(self) -> tuple[str, ...]:
        """Faults found, where the mix is of these."""
        return ("repeat_units", *GROUNDS_OF.get(str(self.settings["made_of"]), ()))

    def listed(self) -> CaseList:
        """The come-backs, by what they are made up of."""
        keys = {"complaint": "named", "repaired": "was_repaired", "found": "was_found", "class": "came_with"}
        return CaseList("listed_findings", {"returned": Count()}, rows=COMEBACKS, keys=keys)


def comeback_mix(
    snapshot: Snapshot,
    window: int = 30,
    *,
    made_of: str = "found",
    by: By = ("model",),
    where: Where | None = None,
    months: Months | None = None,
    index_disposition: str = "repaired",
    level: float = 0.95,
) -> ComebackMix:
    """Say what come-backs are made up of in each group, whether the groups differ in that, and where.

    `made_of`: "found" (at fault on return), "complaint" (of the return), "repaired" (in the job before) or "class".
    `by` takes month, week, site, model, procedure, technician, billing. A row a group and part, zeros too: returned
    (matured jobs back within `window` days), share of the group's come-backs with Wilson's low and high; expected, were
    all groups of one mix; residual, the adjusted residual (about standard normal then); p_adjusted for how many cells
    were looked at; verdict ("more", "fewer", "no difference shown").

    `.p_value` is that of the table as a whole: chi-squared where every expected count is 5 or more, else exact, or by
    9,999 tables drawn with the same totals. Several come-backs of one unit are taken as independent. Sources: Haberman,
    Biometrics 29, 1973; Freeman and Halton, Biometrika 38, 1951.

    >>> r = depot.returns.mix(by="model")
    >>> r.p_value < 0.001, r.method
    (True, 'monte-carlo')

    The models come back with different faults.
    """
    import polars as pl

    from rqa.stats import contingency_test

    check_one_of(QUESTION, "made_of", made_of, MADE_OF)
    classes = CONFIRMED if made_of in ("found", "class") else ()
    asked, table = asked_findings(
        QUESTION, snapshot, "comeback_findings", window, by, where, months, index_disposition, level, classes
    )
    cells = table.group_by([*asked.by, made_of]).agg(pl.col("returned").sum())
    groups = cells.select(asked.by).unique().sort(asked.by) if asked.by else pl.DataFrame({"": [""]})
    parts = cells.select(made_of).unique().sort(made_of)
    every = groups.join(parts, how="cross").join(cells, on=[*asked.by, made_of], how="left") if asked.by else (
        parts.join(cells, on=made_of, how="left")
    )
    every = every.with_columns(pl.col("returned").fill_null(0)).sort([*asked.by, made_of])
    shape = (groups.height if cells.height else 0, parts.height)
    test = contingency_test(table=every["returned"].to_numpy().reshape(shape)) if cells.height else None
    settings = {"made_of": made_of, **settings_of(snapshot, asked, window, index_disposition, level)}
    made = _told(every, asked, made_of, test, level)
    notes = [*snapshot.notes, *asked.left_out]
    told = test is not None and test.degrees_of_freedom > 0
    if told and test is not None:
        notes.append(_said(snapshot, test, asked, made_of, int(every["returned"].sum()), window))
    return ComebackMix(
        made, settings, tuple(notes), statistic=test.statistic if told and test else None,
        degrees_of_freedom=test.degrees_of_freedom if test else 0, p_value=test.p_value if told and test else None,
        method=test.method if told and test else "",
    )


def _told(
    every: "pl.DataFrame", asked: Scope, made_of: str, test: "ContingencyTest | None", level: float
) -> "pl.DataFrame":
    """The table with each cell beside what one mix would make of it."""
    import polars as pl
    from scipy import special

    from rqa.stats import benjamini_hochberg

    whole = pl.col("returned").sum().over(asked.by) if asked.by else pl.col("returned").sum()
    made = with_shares(
        every.with_columns(whole.alias("of")), part="returned", whole="of", share="share", level=level
    )
    comparable = test is not None and test.degrees_of_freedom > 0
    expected, residual = (
        (test.expected.ravel(), test.adjusted_residuals.ravel()) if comparable and test is not None
        else (np.full(every.height, np.nan),) * 2
    )
    p = benjamini_hochberg(p_values=2.0 * special.ndtr(-np.abs(residual)), allowed=FALSE_SHARE).p_adjusted
    clear = comparable and test is not None and test.p_value <= FALSE_SHARE
    verdicts = [
        None if np.isnan(r) else SAME if not clear or q > FALSE_SHARE else MORE if r > 0 else FEWER
        for r, q in zip(residual, p, strict=True)
    ]
    columns = {"expected": rounded(expected), "residual": rounded(residual), "p_adjusted": rounded_p_values(p)}
    return made.with_columns(
        *(values.alias(name) for name, values in columns.items()), pl.Series("verdict", verdicts, dtype=pl.String)
    ).select(*asked.by, made_of, "returned", "share", "low", "high", *columns, "verdict")


def _said(
    snapshot: Snapshot, test: "ContingencyTest", asked: Scope, made_of: str, cases: int, window: int
) -> str:
    """The test of the table as a whole, in words."""
    by = listed([spoken(name) for name in asked.by])
    p = test.p_value
    chance = "less than once in 1,000 times" if p < 0.001 else f"in {p * 100:.1f} of 100 times"
    how = (
        f"Were {spoken(made_of)} of one mix by {by}, chance would set {counted(cases, 'come-back')} as far from it "
        f"{chance} ({HOW[test.method]})."
    )
    if p <= FALSE_SHARE:
        return f"The mix differs. {how}"
    return grounds(snapshot, window=window).claim(
        f"No difference of the mix is shown. {how}", "repeat_units", about="whether the mix differs",
        among=(cases, "come-backs"),
    )
