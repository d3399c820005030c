"""Every sentence of a sheet, as rendered, a line each; `python -m tests.review.sheet_sentences` keeps them anew."""

from collections.abc import Iterator
from pathlib import Path

from rqa.answers.charts.month import UNCLEAR
from rqa.review import describe
from rqa.review import sheet_texts as say
from rqa.review.facts import MonthFacts

KEPT = Path(__file__).with_suffix(".txt")


def sentences(facts: MonthFacts) -> str:
    """Those of one sheet, and those that depend on what is the case, in each of its cases."""
    return "\n".join(text.replace("\u00a0", " ") for text in (*_of_sheet(facts), *_of_cases())) + "\n"


def _of_sheet(facts: MonthFacts) -> Iterator[str]:
    made = facts.sheet
    yield from (made.heading, made.under, *made.verdict, say.BAND, say.ACT)
    for t in made.tiles:
        yield " | ".join((t.measure, t.of, t.value, t.when, f"{t.sign} {t.word}", t.goal))
    for p in made.problems:
        action = f"{say.ACTION} {p.action}" if p.action else say.OPEN
        yield " | ".join((p.where, p.what, p.worth, f"{say.NEXT} {p.check}", action))
    yield from (made.basis, *(f"{line.heading}: {item}" for line in made.lines for item in line.items), made.cautions)


def _of_cases() -> Iterator[str]:
    yield say.decide(["2", "3"], [], 5)
    yield say.decide(["1"], ["ACT-1"], 0)
    yield say.decide([], ["ACT-1"], 1)
    yield say.decide([], ["A", "B"], 0)
    yield say.goals(3, [], 0, 0)
    yield say.goals(0, ["clean-job share"], 1, 2)
    yield say.goals(1, ["a", "b", "others"], 4, 0)
    yield say.GOAL_ONE_UNCLEAR.format(name="clean-job share")
    yield say.GOAL.format(goal="9.0 %", said=say.GOAL_TOO_FEW.format(month="March"))
    yield say.GOAL.format(goal="9.0 %", said=say.GOAL_NOT_FINAL.format(month="June"))
    yield say.UNCHANGED_ALL.format(unclear=UNCLEAR, number="four")
    yield say.TOO_LITTLE.format(measures="come-backs within 30 days")
    yield say.NO_EARLIER.format(measures="first-pass yield")
    yield say.HIDDEN.format(smallest=20, left=9, groups=12).strip()
    yield say.FULL.format(left="2 problems").strip()


if __name__ == "__main__":
    from tests.depots import depot_of
    from tests.review.good_or_bad import DAY, MONTH, made

    with depot_of(made(bad=True), DAY) as depot:
        KEPT.write_text(sentences(describe(depot, MONTH)), encoding="utf-8")
