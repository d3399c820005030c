"""The month's page: one file that loads nothing, says what the depot's answers say, and survives hostile names."""

import base64
import hashlib
import itertools
import json
import re
from collections.abc import Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import altair as alt
import pytest

from rqa.depot import Depot
from rqa.depot import open as open_depot
from rqa.errors import RequestError
from rqa.review import describe, render, write_page
from rqa.review.describe import last_month_over
from rqa.review.facts import MonthFacts
from tests.cases import some_slow
from tests.depots import make_store
from tests.review.made_depot import HOSTILE, made_tables

LARGEST = 2 * 1024 * 1024


class Parts(HTMLParser):
    """Elements with their attributes, texts of scripts, and the visible text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.scripts: list[tuple[dict[str, str], str]] = []
        self.text = ""
        self._open = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {k: v or "" for k, v in attrs}))
        self._open = tag

    def handle_endtag(self, tag: str) -> None:
        self._open = ""

    def handle_data(self, data: str) -> None:
        if self._open == "script":
            self.scripts.append((self.elements[-1][1], data))
        elif self._open != "style":
            self.text += data

    def of(self, tag: str) -> list[dict[str, str]]:
        return [a for t, a in self.elements if t == tag]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_store(tmp_path_factory.mktemp("page") / "depot.duckdb", made_tables(odd_model=HOSTILE))


@pytest.fixture(scope="module")
def depot(store: Path) -> Iterator[Depot]:
    with open_depot(store) as opened:
        yield opened


@pytest.fixture(scope="module")
def facts(depot: Depot) -> MonthFacts:
    return describe(depot)


@pytest.fixture(scope="module")
def page(facts: MonthFacts) -> str:
    return render(facts)


@pytest.fixture(scope="module")
def parts(page: str) -> Parts:
    return Parts(page)


def test_every_picture_is_of_the_grammar(facts: MonthFacts) -> None:
    assert len(facts.drawn) > 5
    for figure in facts.drawn:
        alt.Root.validate(figure.spec)


def test_the_page_loads_nothing(page: str, parts: Parts) -> None:
    """No address outside the page in any attribute that fetches, and a policy that would refuse one."""
    for tag, attrs in parts.elements:
        for name in ("src", "href", "data", "action", "poster", "srcset", "xlink:href"):
            value = attrs.get(name, "#")
            assert value.startswith(("#", "data:image/svg+xml;base64,")), (tag, name, value[:80])
    assert not {"link", "iframe", "object", "embed", "base"} & {t for t, _ in parts.elements}
    style = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
    assert len(style) == 1
    assert not re.search(r"url\(|@import", style[0])


def test_the_policy_allows_just_the_page_s_own_scripts(parts: Parts) -> None:
    (policy,) = [a["content"] for a in parts.of("meta") if a.get("http-equiv") == "Content-Security-Policy"]
    rules = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert rules["default-src"] == "'none'"
    runs = [text for attrs, text in parts.scripts if attrs.get("type") != "application/json"]
    hashes = [f"'sha256-{base64.b64encode(hashlib.sha256(t.encode()).digest()).decode()}'" for t in runs]
    assert rules["script-src"].split() == hashes
    assert len(hashes) == 2
    assert "unsafe" not in rules["script-src"]
    # What may be loaded or sent to falls back to default-src, but for these two and what is allowed by name.
    assert (rules["base-uri"], rules["form-action"]) == ("'none'", "'none'")
    assert rules["img-src"] == "data:"
    assert rules["style-src"] == "'unsafe-inline'"
    assert set(rules) == {"default-src", "script-src", "style-src", "img-src", "base-uri", "form-action"}
    assert "ast: true" in runs[1]


def test_hostile_names_are_shown_as_text(page: str, parts: Parts, facts: MonthFacts) -> None:
    assert HOSTILE in parts.text
    assert len(parts.of("script")) == 3
    assert all(a["class"].split()[0] == "still" for a in parts.of("img"))
    assert all("49" not in f.alternative for f in facts.drawn if "7*7" in f.alternative)
    # The name stands in every section that shows names of the depot: in words, tables, charts and notes.
    for key in ("goals", "cost"):
        (section,) = [s for s in facts.sections if s.key == key]
        assert "</script><script>alert(1)</script><img src=x" in repr(section), key
    (specs,) = [text for attrs, text in parts.scripts if attrs.get("type") == "application/json"]
    assert "<" not in specs
    assert HOSTILE.replace("_", " ") in json.dumps(json.loads(specs), ensure_ascii=False).replace('\\"', '"')


def test_no_person_and_no_small_group_is_shown(depot: Depot, facts: MonthFacts) -> None:
    """Technicians are in the store and nowhere on the page."""
    assert "T01" in depot.query("select distinct technician from jobs")["technician"].to_list()
    said = json.dumps([f.spec for f in facts.drawn], default=str) + repr(facts)
    assert "T01" not in said
    assert "technician" not in said
    for figure in facts.figures:
        if figure.key in ("work", "steps"):
            sizes = [r["size"] for r in figure.spec["data"]["values"]]
            assert sizes
            assert min(sizes) >= 20


@pytest.mark.slow
def test_same_facts_same_bytes(store: Path, depot: Depot, page: str) -> None:
    """Opened again, and as of the day that the page names."""
    with open_depot(store, as_of=depot.as_of.date().isoformat()) as again:
        assert render(describe(again)) == page


def test_the_page_is_small(page: str) -> None:
    assert len(page.encode()) < LARGEST


def test_every_figure_has_words_a_picture_and_its_numbers(parts: Parts, facts: MonthFacts) -> None:
    assert [f.key for f in facts.figures] == ["comebacks", "comebacks-90", "clean_jobs", "work", "steps"]
    assert [f.key for f in facts.drawn] == [*(f.key for f in facts.figures), "bursts", "cost-kinds", "cost-months"]
    assert len(facts.drawn) <= 12
    tiles, stills = ([a for a in parts.of("img") if ("tile" in a["class"].split()) is tile] for tile in (True, False))
    assert [a["alt"].replace("\u00a0", " ") for a in tiles] == [
        t.alternative.replace("\u00a0", " ") for t in facts.sheet.tiles
    ]
    assert [a["alt"].replace("\u00a0", " ") for a in stills] == [
        f.alternative.replace("\u00a0", " ") for f in facts.drawn
    ]
    assert all(len(a["alt"]) > 60 for a in stills)
    assert len(parts.of("figure")) == len(facts.drawn)
    folded = [a for a in parts.of("details") if a.get("class") == "part"]
    assert [a["id"] for a in folded] == [
        "words", "goals", "look", *["jobs"] * bool(facts.lists), "figures", *(s.key for s in facts.then), "loaded",
        "reproduced", "cautions", "meaning",
    ]
    assert len(parts.of("details")) == len(folded) + len(facts.drawn) + len(facts.lists) + 1
    tables = sum(len(s.tables) for s in facts.sections)
    assert len(parts.of("table")) == len(facts.drawn) + tables + len(facts.intake) + len(facts.lists) + 1
    assert all(f.spec["width"] == "container" for f in facts.drawn)


def test_a_folded_part_says_its_months_and_days_beside_its_heading(page: str, facts: MonthFacts) -> None:
    counted = [s for s in facts.sections if s.caption]
    assert {s.key for s in counted} >= {"goals", "cost", "wrong"}
    for key, span in [*((s.key, s.span) for s in counted), ("look", facts.looked_at), ("figures", facts.shown_months)]:
        assert re.search(r"\b20\d\d\b|\bmonths\b|\bdays\b", span), key
        (summary,) = re.findall(rf'<details class="part" id="{key}"><summary>(.*?)</summary>', page)
        assert span in summary


def test_landmarks_and_headings(parts: Parts) -> None:
    for tag in ("header", "nav", "main", "footer", "h1", "html"):
        assert len(parts.of(tag)) == 1, tag
    assert parts.of("html")[0]["lang"] == "en"
    levels = [int(t[1]) for t, _ in parts.elements if re.fullmatch(r"h[1-6]", t)]
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    ids = {a["id"] for _, a in parts.elements if "id" in a}
    assert all(a["href"][1:] in ids for a in parts.of("a"))
    assert all(a.get("scope") in ("col", "row") for a in parts.of("th"))


def test_the_words_are_the_answers(depot: Depot, facts: MonthFacts) -> None:
    month = date(2025, 6, 1)
    assert facts.month == month
    first = depot.comebacks(window=30, months="2025-05").table.row(0, named=True)
    assert facts.verdicts[0].counts == f"{first['returned']} of {first['matured']} matured jobs"
    assert facts.verdicts[0].month == "May 2025"
    assert "May 2025" in facts.verdicts[0].sentence
    passed = depot.first_pass_yield(by=(), months=month).table.row(0, named=True)
    assert facts.verdicts[2].counts == f"{passed['passed']} of {passed['exposures']} first checks"
    assert "not final yet" in facts.summary
    assert "June 2025" in facts.headline
    assert f"come-backs within 30 days {facts.verdicts[0].share} (May 2025), " in facts.headline


def test_the_planted_work_is_pointed_at_and_nothing_else(facts: MonthFacts) -> None:
    """Main-board work on one model comes back four times as often; all the rest is one kind of noise."""
    assert [p.where for p in facts.pointers] == [f"model {HOSTILE}, procedure main board"]
    assert "worse than" in facts.pointers[0].what


def test_what_was_refused_is_there_without_its_values(facts: MonthFacts) -> None:
    captions = [t.caption for t in facts.intake]
    assert captions[:2] == ["The last load, by table", "Rules that refused rows"]
    assert facts.intake[1].rows[0][0] == "closed before it was opened"


def test_an_older_month_can_be_asked_for(depot: Depot, tmp_path: Path) -> None:
    written = write_page(depot, tmp_path, month="2024-12")
    assert written.path.name == "review-2024-12.html"
    assert "December 2024" in written.headline
    assert written.path.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_a_month_to_come_is_refused(depot: Depot) -> None:
    with pytest.raises(RequestError, match="the store holds nothing of January 2031; its data is of"):
        describe(depot, "2031-01")
    with pytest.raises(RequestError, match="'soon' is no month"):
        describe(depot, "soon")


def test_a_file_that_cannot_be_written_is_named(depot: Depot, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("", encoding="utf-8")
    with pytest.raises(RequestError, match="cannot write the page"):
        write_page(depot, tmp_path / "taken" / "page.html")


@pytest.mark.parametrize(
    ("day", "month"),
    [
        (date(2025, 3, 31), date(2025, 3, 1)),
        (date(2025, 3, 30), date(2025, 2, 1)),
        (date(2025, 1, 1), date(2024, 12, 1)),
        (date(2024, 2, 29), date(2024, 2, 1)),
    ],
)
def test_the_last_whole_month(day: date, month: date) -> None:
    assert last_month_over(day) == month


@pytest.mark.parametrize("tables", some_slow([{}, {"jobs": []}], 1), ids=["nothing", "no rows"])
def test_an_empty_depot_has_a_page_that_says_so(tables: dict[str, Any], tmp_path: Path) -> None:
    with open_depot(make_store(tmp_path / "depot.duckdb", tables)) as nothing:
        told = describe(nothing)
        assert "Cannot be told" in told.figures[0].alternative
        assert told.summary.endswith("first-pass yield and clean-job share cannot be told.")
        assert "cannot be told" in render(told)


@pytest.mark.slow
def test_quiet_data_give_a_quiet_page(tmp_path: Path) -> None:
    tables = made_tables(jobs=150, days=150, seed=5, odd_model="Marl-12")
    tables["jobs"] = [j for j in tables["jobs"] if j["job_id"][0] == "J" or int(j["job_id"][1:]) % 3 == 0]
    with open_depot(make_store(tmp_path / "depot.duckdb", tables)) as quiet:
        assert "Nothing to act on" in render(describe(quiet))


def test_a_young_month_is_projected_in_words_and_beside_the_mature_one(depot: Depot, facts: MonthFacts) -> None:
    """The card of the mature month carries the projection of the page's own, each called what it is."""
    own = facts.month_name
    assert [p.measure for p in facts.projected] == ["come-backs within 30 days", "come-backs within 90 days"]
    row = depot.projection(90, months=facts.month).table.row(0, named=True)
    said = facts.projected[1].sentence.replace("\u00a0", " ")
    assert said.startswith(f"Projected, not yet mature: of the jobs closed in {own}, {row['projected'] * 100:.1f} %")
    assert f"{row['returned_so_far']} of {row['jobs']} jobs are back so far" in said
    text = " ".join(Parts(render(facts)).text.split())
    assert f"projected for {own}, not yet mature: {facts.projected[0].share}".replace("\u00a0", " ") in text
    later = next(f for f in facts.figures if f.key == "comebacks-90")
    assert "mature and projected" in later.heading
    kinds = {r[-1] for r in later.table.rows}
    assert kinds == {"mature", "projected"}
    assert "Projected, not yet mature:" in later.alternative


def test_a_mature_month_is_not_projected(depot: Depot) -> None:
    assert describe(depot, "2024-12").projected == ()
