"""The month of a depot in which all is amiss, which several files look at: asked once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pytest

from rqa.answers.core.finding import Finding
from rqa.review import describe
from rqa.review.facts import MonthFacts
from tests.depots import depot_of
from tests.made_once import Shelf
from tests.review.good_or_bad import DAY, MONTH, made
from tests.review.made_depot import HOSTILE, made_tables


@dataclass
class BadMonth:
    """Its page's facts, and of its findings what needs no store."""

    facts: MonthFacts
    findings: Sequence[Finding]
    stated: Sequence[Finding]
    notes: Sequence[str]
    where: Mapping[str, Sequence[str]]
    any_class: bool


def _asked() -> BadMonth:
    with depot_of(made(bad=True), DAY) as depot:
        found = depot.findings(MONTH)
        assert found.counted is not None
        return BadMonth(
            describe(depot, MONTH), found.findings, found.stated, found.notes, found.counted.where,
            found.counted.any_class,
        )


@pytest.fixture(scope="session")
def bad_month(shelf: Shelf) -> BadMonth:
    return shelf.thing("bad month", _asked)


def _hostile() -> MonthFacts:
    with depot_of(made_tables(jobs=300, days=300, odd_model=HOSTILE)) as depot:
        return describe(depot)


@pytest.fixture(scope="session")
def hostile_facts(shelf: Shelf) -> MonthFacts:
    """The page's facts of a small depot, one of whose models has a name as nobody should have it."""
    return shelf.thing("hostile facts", _hostile)
