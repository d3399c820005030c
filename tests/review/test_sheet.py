"""The manager's sheet: at most 350 words whatever the depot, its numbers those of the answers, each problem once."""

import os
import re
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from email import message_from_bytes, policy
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner

from rqa.answers.core.finding import Finding
from rqa.answers.core.grounds import Sentence
from rqa.answers.improve.problems import Problem
from rqa.cli import TO_ACT, main
from rqa.commands.month import review
from rqa.depot import Depot
from rqa.review import describe, render
from rqa.review.facts import MonthFacts
from rqa.review.improve.problems import _worth
from rqa.review.message import MOST_LINES, email, text
from rqa.review.sheet import MOST_WORDS, _largest, words_of
from tests.cases import some_slow
from tests.depots import depot_of, make_store
from tests.review.conftest import BadMonth
from tests.review.good_or_bad import DAY, LESS, MONTH, made
from tests.review.made_depot import HOSTILE
from tests.review.sheet_sentences import KEPT, sentences

LONG = " ".join(["polish"] * 30)
LARGEST = 1_600_000


class Sheet(HTMLParser):
    """What stands in the header and the sheet of a page, scripts and alternatives apart."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.text, self._on, self.links = "", False, list[str]()
        self.feed(page[page.index("<header>") : page.index('<div class="annex"')])

    def handle_data(self, data: str) -> None:
        self.text += data

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [value or "" for name, value in attrs if name == "href"]

    @property
    def words(self) -> int:
        return sum(1 for word in self.text.split() if re.search(r"\w", word))


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(made(bad=True), DAY) as opened:
        yield opened


@pytest.fixture(scope="module")
def facts(bad_month: BadMonth) -> MonthFacts:
    return bad_month.facts


def check(facts: MonthFacts) -> Sheet:
    """A sheet as it must be of any depot: short, with links that lead somewhere, three sentences and four measures."""
    page = render(facts)
    sheet = Sheet(page)
    assert sheet.words <= MOST_WORDS
    assert sheet.words == words_of(facts.sheet), "what is counted is what is read"
    assert len(page.encode()) <= LARGEST
    ids = set(re.findall(r' id="([^"]+)"', page))
    assert {link.removeprefix("#") for link in sheet.links} <= ids
    assert len(facts.sheet.verdict) == 3
    assert all(said and said.endswith((".", ":")) for said in facts.sheet.verdict)
    assert len(facts.sheet.tiles) == 4
    assert len(facts.sheet.problems) <= 3
    assert bool(facts.sheet.quiet) != bool(facts.sheet.problems)
    assert [line.heading for line in facts.sheet.lines] == ["Cost", "Safety", "Actions", "Data"]
    assert all(item for line in facts.sheet.lines for item in line.items)
    assert len(text(facts, "page.html").splitlines()) <= MOST_LINES
    # What is to be mapped stands in the annex; the sheet says only that it cannot be told.
    assert "sources.toml" not in sheet.text
    return sheet


def test_a_depot_in_which_all_is_amiss(depot: Depot, facts: MonthFacts, bad_month: BadMonth) -> None:
    check(facts)
    sheet = facts.sheet
    assert "worse since" in sheet.verdict[0]
    assert sheet.verdict[1] == "The goal of come-backs within 30 days is missed."
    found = {f.id: f for f in bad_month.findings}
    joined = [i for p in sheet.problems for i in p.ids]
    assert len(set(joined)) == len(joined) > len(sheet.problems), "each finding once, and some are one problem"
    for p in sheet.problems:
        told = [f for f in (found[i] for i in p.ids) if (f.events, f.jobs) == (p.events, p.jobs)]
        assert told, p
        if "came back" in p.what:
            assert f"{p.events} of {p.jobs} jobs came back" in p.what.replace(",", "")
        assert p.avoided == round(max((f.avoided or 0.0) for f in told), 1)
    events = depot.steps.battery_breaches(months=MONTH).table.height
    assert events
    assert f"{events:,} events in May: " in sheet.lines[1].items[0]
    repaired = sum(j.get("disposition", "repaired") == "repaired" for j in made(bad=True)["jobs"])
    assert f"{repaired:,} repairs closed. " in sheet.lines[3].items[0]
    cost = depot.costs(by=(), months=("2024-09", "2025-05"), window=90).table.row(0, named=True)
    assert f"{cost['comebacks']} come-backs within 90 days, {cost['cost']:,.0f} EUR".replace(" ", " ") in (
        sheet.lines[0].items[0].replace("\u00a0", " ")
    )


def test_its_sentences_are_those_that_were_read(facts: MonthFacts) -> None:
    """A changed sentence is seen beside the others; `python -m tests.review.sheet_sentences` keeps it."""
    assert sentences(facts) == KEPT.read_text(encoding="utf-8")


def test_what_a_problem_costs_a_year(depot: Depot, facts: MonthFacts, bad_month: BadMonth) -> None:
    """Come-backs that could be avoided, times what one costs, by the months they were counted in; rounded.

    The depot is nine months old, so nothing is put to a year: the sum stands as it is.
    """
    mean = depot.costs(by=(), window=30, where=bad_month.where).table["mean"][0]
    for p in facts.sheet.problems:
        if p.avoided >= 0.5:
            cost = p.avoided * mean
            said = re.search(r"([\d,]+) avoidable in all \(([\d,]+)", p.worth)
            assert said
            assert int(said[1].replace(",", "")) == round(p.avoided)
            assert abs(int(said[2].replace(",", "")) - cost) <= (60 if cost >= 1000 else 10)
            assert "a year" not in p.worth


@pytest.mark.parametrize(
    ("scope", "kind", "last", "said"),
    [
        # 27 in 18 months are 18 a year; at 90 each that is 1,620, to the hundred.
        ({"bench": "B-1"}, "k", date(2025, 6, 1), "18 avoidable a year (1,600 EUR)"),
        # A lot and a burst end by themselves: 27 in all, at 90 each 2,430. So does what was seen for less than a year.
        ({"lot": "L"}, "k", date(2025, 6, 1), "27 avoidable in all (2,400 EUR)"),
        ({"bench": "B-1"}, "burst of come-backs", date(2025, 6, 1), "27 avoidable in all (2,400 EUR)"),
        ({"bench": "B-1"}, "k", date(2024, 10, 1), "27 avoidable in all (2,400 EUR)"),
    ],
)
def test_what_a_problem_is_worth(scope: dict[str, str], kind: str, last: date, said: str) -> None:
    f = Finding(
        kind=kind, scope=scope, what="w", measure="ratio", size=2.0, low=1.0, high=3.0, worse=True, jobs=300,
        p_value=0.01, caution="c", check="look", avoided=27.0, months=(date(2024, 1, 1), last),
    )
    words, cost = _worth(Problem((f,)), 90.0, "EUR")
    assert words.replace("\u00a0", " ") == said
    assert (cost is None) == ("(" not in said)
    assert _worth(Problem((f,)), None, "EUR") == (said.partition(" (")[0], None), "where no cost is known"
    assert _worth(Problem((replace(f, avoided=None),)), 90.0, "EUR") == ("", None)


def test_the_largest_part_is_that_of_most_money_among_those_shown(facts: MonthFacts) -> None:
    """The order of problems is by come-backs; a problem of fewer may cost more, as it goes on for a whole year."""
    one = facts.sheet.problems[0]
    costs = [None, 200.0, 900.0, 900.0]
    assert _largest([replace(one, cost=cost) for cost in costs]) == " Most avoidable: problem 3."
    assert _largest([replace(one, cost=None)]) == ""


@pytest.mark.slow
@pytest.mark.parametrize(
    "less", [("no diagnostics", "no targets", "no actions"), ("no procedures", "no unit twice")], ids=" and ".join
)
def test_with_parts_missing_the_sheet_says_what_cannot_be_told(less: tuple[str, ...]) -> None:
    tables = made(bad=True, jobs=80)
    for name in less:
        tables = LESS[name](tables)
    with depot_of(tables, DAY) as bare:
        sheet = check(describe(bare, MONTH)).text
    data = re.search(r"Incomplete, without ([^.]*)\.", sheet)
    assert data
    if "no targets" in less:
        assert "Cannot be told: whether goals are met" in sheet
        assert "Cannot be told: whether an action worked" in sheet
        assert re.match(r"diagnostics, parts, actions and goals", data[1]), data[1]
        assert sheet.count("no goal") == 4
    else:
        assert "cannot be told" in sheet
        assert "procedures" in data[1]
        assert "Cannot be told: whether a battery was isolated late" in sheet


@pytest.mark.parametrize("jobs", some_slow([1, 0, 12], 1))
def test_a_depot_with_little_work(jobs: int) -> None:
    opened = datetime(2026, 1, 2, 8)
    rows = [
        {"job_id": f"J{n}", "unit_id": f"U{n}", "opened_at": opened, "closed_at": opened.replace(hour=9)}
        for n in range(jobs)
    ]
    with depot_of({"jobs": rows}) as small:
        facts = describe(small)
    sheet = check(facts).text
    assert "Cannot be told" in sheet
    # What cannot be told has no picture: so small it could not say why.
    page = render(facts)
    drawn = [t for t in facts.sheet.tiles if t.spec]
    assert all((t.value == "no data") == (not t.spec) for t in facts.sheet.tiles)
    assert page.count('class="still tile"') == len(drawn)
    assert not facts.sheet.to_act
    # What is quiet is said once, and with one comparison it is said of one.
    assert sheet.count(" ".join(str(facts.sheet.quiet).split())) == 1
    assert "the 1 comparison" not in page


@pytest.mark.slow
def test_without_a_battery_it_is_not_named() -> None:
    tables = made(bad=True, jobs=60)
    for row in tables["procedures"]:
        row["step"], row["hazards"] = row["step"].replace("battery", "display"), ["sharp_edge"]
    for row in tables["steps"]:
        row["step"] = row["step"].replace("battery", "display")
    with depot_of(tables, DAY) as none:
        facts = describe(none, MONTH)
    check(facts)
    assert facts.sheet.cautions.startswith("Electrostatic and sharp-edge work")


@pytest.mark.slow
def test_long_and_hostile_names_leave_the_sheet_short() -> None:
    """Thirty words a name, and ten actions: fewer actions and problems are shown, and that there are more is said."""
    tables = made(bad=True, jobs=200)
    for job in tables["jobs"]:
        job["model"] = f"{job['model']} {LONG} {HOSTILE}"
    tables["actions"] = [
        {"action_id": f"A{n}", "what": f"{LONG} {HOSTILE}", "started_on": date(2024, 12, 2), "owner": LONG,
         "scope": "procedure=board"}
        for n in range(10)
    ]
    with depot_of(tables, DAY) as hostile:
        facts = describe(hostile, MONTH)
    check(facts)
    assert any("more action" in item for item in facts.sheet.lines[2].items)
    said = f"{facts.sheet.verdict[2]} {facts.sheet.lines[0].items[0]}"
    named = re.findall(r"problems? (\d(?:(?:, | and )\d)*)", said)
    shown = {str(n + 1) for n in range(len(facts.sheet.problems))}
    assert {number for some in named for number in re.findall(r"\d", some)} <= shown
    made_mail = message_from_bytes(email(facts, f"https://x.example/{HOSTILE}"), policy=policy.default)
    assert "\n" not in made_mail["Subject"]
    html = made_mail.get_body(("html",)).get_content()  # type: ignore[union-attr]
    assert "<script" not in html.lower()
    assert "<img" not in html.lower()


def test_the_message_says_the_sheet_in_fifteen_lines(facts: MonthFacts) -> None:
    said = text(facts, "review.html")
    assert said.splitlines()[-1] == "The page: review.html"
    for sentence in (*facts.sheet.verdict, *(p.where for p in facts.sheet.problems)):
        assert sentence in said
    for tile in facts.sheet.tiles:
        assert re.search(rf"{tile.measure[1:]}(?: \({tile.of}\))?: {re.escape(tile.value)}", said)
    first, again = email(facts, "https://x.example/p.html"), email(facts, "https://x.example/p.html")
    assert first == again
    mail = message_from_bytes(first, policy=policy.default)
    plain = mail.get_body(("plain",)).get_content()  # type: ignore[union-attr]
    assert plain.replace("\r\n", "\n") == text(facts, "https://x.example/p.html")
    assert '<a href="https://x.example/p.html">' in mail.get_body(("html",)).get_content()  # type: ignore[union-attr]
    assert mail["Subject"].startswith("Repair quality, May 2025, to act on: ")
    quiet = replace(facts, sheet=replace(facts.sheet, problems=(), quiet=Sentence("Nothing."), to_act=()))
    assert "to act on" not in message_from_bytes(email(quiet, "p.html"), policy=policy.default)["Subject"]


@pytest.mark.parametrize(
    ("loaded", "reviewed", "sent", "ended"),
    [(0, 0, False, 0), (0, 3, True, 0), (2, 0, False, 2), (1, 3, False, 1), (0, 1, False, 1)],
)
def test_the_script_of_the_recipe(tmp_path: Path, loaded: int, reviewed: int, sent: bool, ended: int) -> None:
    """As it stands in the documentation, with commands in place of the real ones that only end as these do."""
    recipe = (Path(__file__).parents[2] / "shared" / "schedule.md").read_text(encoding="utf-8")
    (script,) = re.findall(r"```sh\n(.*?)```", recipe, re.DOTALL)
    (tmp_path / "reports").mkdir()
    (tmp_path / "reports" / "review.eml").write_text("Subject: x\n", encoding="utf-8")
    stubs = {"rqa": f'[ "$1" = load ] && exit {loaded}; exit {reviewed}', "sendmail": "cat > sent"}
    for name, body in stubs.items():
        (tmp_path / name).write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
        (tmp_path / name).chmod(0o755)
    paths = {"PATH": f"{tmp_path}:{os.environ['PATH']}"}
    done = subprocess.run(["sh", "-c", script], cwd=tmp_path, env=paths, check=False)
    assert done.returncode == ended
    assert (tmp_path / "sent").is_file() is sent
    if sent:
        assert (tmp_path / "sent").read_text(encoding="utf-8").startswith("To: quality-lead@depot.example\nSubject: ")
    options = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", recipe)) - {"--month"}
    assert options <= {name for option in review.params for name in option.opts}


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, list(words))
    return done.exit_code, done.output


def test_the_command_ends_with_3_where_there_is_something_to_act_on(tmp_path: Path) -> None:
    targets = [{"measure": "comebacks_30", "from_month": date(2024, 1, 1), "value": 0.0}]
    opened = [datetime(2024, month, day, 8) for month in (1, 2, 3) for day in range(1, 25)]
    jobs = [
        {"job_id": f"J{n}", "unit_id": f"U{n % 6}", "opened_at": day, "closed_at": day.replace(hour=9)}
        for n, day in enumerate(opened)
    ]
    make_store(tmp_path / "depot.duckdb", {"jobs": jobs, "targets": targets})
    of_march = ("review", str(tmp_path), "--month", "2024-03")
    code, said = run(*of_march, "--format", "text", "--exit-code", "--link", "https://x.example/")
    assert code == TO_ACT
    assert "To act on: goal missed: " in said
    message = (tmp_path / "review-2024-03.txt").read_text(encoding="utf-8")
    assert message.splitlines()[-1] == "The page: https://x.example/"
    assert message.splitlines()[1] in said
    assert (tmp_path / "review-2024-03.html").is_file()


def test_only_where_it_is_asked_for_and_something_is_there(tmp_path: Path) -> None:
    make_store(tmp_path / "depot.duckdb", {"jobs": []})
    assert run("review", str(tmp_path), "--exit-code")[0] == 0
    code, _ = run("review", str(tmp_path), "--format", "email", "--to", str(tmp_path / "out.eml"))
    assert code == 0
    assert (tmp_path / "out.eml").read_bytes().startswith(b"Subject: ")
    assert (tmp_path / "out.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--annex",), "--annex is printed with --pdf"),
        (("--link", "x"), "--link stands in a summary"),
        (("--pdf", "--format", "xlsx"), "--pdf prints the page"),
    ],
)
def test_options_that_do_not_go_together(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    code, output = run("review", str(tmp_path), *words)
    assert code == 1
    assert said in output
