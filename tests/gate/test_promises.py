"""No text promises how often it is wrong without an entry that says what tries it; and a small trial of each kind."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.bench.honesty import SIMULATIONS, line, measured
from tests.bench.promises import MEASURED, MEASURED_ON, PROMISES, Promise

ROOT = Path(__file__).parents[2]
READS_LIKE_ONE = re.compile(
    r"\bone (?:\w+ ){0,3}in (?:twenty|ten|a hundred)\b|\b\d+ times in (?:20|100)\b|in a hundred at most|"
    r"at most is (?:expected|due|called|there)|raises a false alarm (?:within|\{)|with a chance of at most 1 -|"
    r"times in a hundred|one in a hundred p-values",
    re.IGNORECASE,
)
EXAMPLES = ("job in ten", "job in twenty", "unit in a hundred", "bad part in a hundred", "worst one in a hundred",
            "instead of one in a hundred", "the batch passes 93 times in 100",
            "from which on it is said: one in twenty")
"""What reads like a promise and says how often something happens to jobs and units."""


def flat(path: Path) -> str:
    """The text of a file as one line: literals that follow each other joined; of a notebook the texts alone."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".ipynb":
        text = "\n".join("".join(c["source"]) for c in json.loads(text)["cells"] if c["cell_type"] == "markdown")
    if path.suffix == ".py":
        text = re.sub(r'"\s*\n\s*f?"', "", text)
    return re.sub(r"\s+", " ", text)


def texts() -> Iterator[tuple[str, str]]:
    kinds = (("rqa", "*.py"), ("rqa", "*.j2"), ("shared", "*.md"), ("notebooks", "*.ipynb"))
    found = [p for room, kind in kinds for p in (ROOT / room).rglob(kind) if ".ipynb_checkpoints" not in p.parts]
    for path in (*found, ROOT / "README.md", ROOT / "DEVELOPERS.md"):
        if path.name not in ("CHANGELOG.md", "speed.md"):
            yield path.relative_to(ROOT).as_posix(), flat(path)


def unlisted(place: str, text: str) -> list[str]:
    """The sentences that read like a promise and lie in no entry's words."""
    said = [(m.start(), m.end()) for p in PROMISES if place in p.places for m in re.finditer(re.escape(p.says), text)]
    said += [(m.start(), m.end()) for e in EXAMPLES for m in re.finditer(re.escape(e), text, re.IGNORECASE)]
    return [
        f"{place}: {text[max(0, m.start() - 60) : m.end() + 40]}"
        for m in READS_LIKE_ONE.finditer(text)
        # The sentence's own words and an entry's overlap: one of them may begin first.
        if not any(start < m.end() and m.start() < end for start, end in said)
    ]


def test_every_promise_has_an_entry() -> None:
    found = [one for place, text in texts() for one in unlisted(place, text)]
    assert not found, "list these in tests/bench/promises.py, with what tries them; or say them without a promise"


@pytest.mark.parametrize("promise", PROMISES, ids=lambda p: p.says[:40])
def test_an_entry_says_what_a_text_says_and_what_tries_it(promise: Promise) -> None:
    for place in promise.places:
        assert promise.says in flat(ROOT / place)
    assert promise.tried_by
    for name in promise.tried_by:
        assert name in SIMULATIONS or (ROOT / name).is_file(), name
        if name in SIMULATIONS:
            limit, at_least = SIMULATIONS[name].promised, SIMULATIONS[name].at_least
            share, error, _ = MEASURED[name]
            assert limit is not None
            # Two errors beyond what is promised is not kept, and must be said.
            assert (limit - share if at_least else share - limit) <= 2.0 * error or promise.broken, (name, share)


def test_every_simulation_has_a_figure_and_the_table_of_the_developers_shows_it() -> None:
    assert set(MEASURED) == set(SIMULATIONS)
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert MEASURED_ON in table
    for name, figure in MEASURED.items():
        assert line(name, figure) in table


def test_a_promise_without_an_entry_is_found() -> None:
    assert unlisted("README.md", "Of these one in twenty at most is due to chance.")
    assert not unlisted("README.md", "One job in ten is back.")


@pytest.mark.parametrize(("name", "replicates"), [
    ("quiet chart", 60), ("quiet chart, months vary", 60), ("quiet chart, season", 60), ("yield limits", 3),
])
def test_a_small_trial_of_a_promise(name: str, replicates: int) -> None:
    """Seeded, so that a right program passes: no more than chance itself would bring once in a thousand times."""
    share, _, n = measured(name, range(replicates))
    limit = SIMULATIONS[name].promised
    assert limit is not None
    assert n == replicates
    wrong = round((1.0 - share if SIMULATIONS[name].at_least else share) * n)
    chance = 1.0 - limit if SIMULATIONS[name].at_least else limit
    rng = np.random.default_rng(1)
    assert wrong <= np.quantile(rng.binomial(n, chance, 20_000), 0.999)
