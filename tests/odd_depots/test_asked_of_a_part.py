"""What is said of a part of the jobs rests on these jobs: a site without logs and a month without work show nothing.

The depot as a whole has everything; only what is asked about lacks it.
"""

import inspect
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

import pytest

from rqa.answers.core.action_scope import read_scope
from rqa.answers.core.grounds import Sentence
from rqa.answers.core.result import EMPTY, Answer
from rqa.answers.improve.verdicts import lacking
from rqa.depot import Depot
from rqa.errors import RequestError
from tests.cases import some_slow
from tests.depots import depot_of
from tests.odd_depots.questions import asked_of, every_question
from tests.odd_depots.soundness import drawn, has_picture
from tests.review.good_or_bad import DAY, Tables, made

BARE, IDLE = "Birch", ("2025-01", "2025-02")
"""The site that logs no step and no test, and the months in which no job was closed."""
PARTS: dict[str, dict[str, Any]] = {
    "a site without logs": {"where": {"site": BARE}},
    "months without work": {"months": IDLE},
    "the site in these months": {"where": {"site": BARE}, "months": IDLE},
}
ABSENT = {"returns.lots": "parts", "returns.claims": "parts", "actions.rechecked": "studies"}
"""Questions that rest on a table which this depot has none of."""


def half_logged() -> Tables:
    """All is well at the one site; of the other there are only the jobs. For two months neither works."""
    tables = made(bad=False)
    jobs = [j for j in tables["jobs"] if f"{j['closed_at']:%Y-%m}" not in IDLE]
    logged = {j["job_id"] for j in jobs if j["site"] != BARE}
    logs = {name: [r for r in tables[name] if r["job_id"] in logged] for name in ("steps", "diagnostics")}
    return {**tables, "jobs": jobs, **logs}


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with depot_of(half_logged(), DAY) as opened:
        yield opened


def asked(depot: Depot, part: Mapping[str, Any]) -> Iterator[tuple[str, Answer]]:
    """Every question that can be asked of the part, and its answer."""
    for name, given in every_question(depot):
        ask = asked_of(depot, name)
        if set(part) <= set(inspect.signature(ask).parameters) and not set(part) & set(given):
            try:
                answer = ask(**given, **part)
            except RequestError:
                continue
            if isinstance(answer, Answer):
                yield name, answer


@pytest.mark.parametrize("part", some_slow(PARTS, 1))
def test_an_empty_answer_about_a_part_is_no_all_clear(depot: Depot, part: str) -> None:
    """Without a log there is none of anything: what is said of it is that it cannot be told."""
    empty = {n: a for n, a in asked(depot, PARTS[part]) if a.table.is_empty() and a.nothing_found != EMPTY}
    assert {"steps.battery_breaches", "steps.breaches", "steps.conformance", "tests.release_faults"} <= {*empty}
    for name, answer in empty.items():
        said = answer.notes[0]
        assert isinstance(said, Sentence), name
        assert not said.told, f"{name}: {said}"
        if name in ABSENT:
            assert f"the table “{ABSENT[name]}” is not loaded" in said, "this depot has none at all"
            continue
        why = (
            "no job was closed in January 2025 to February 2025" if "months" in PARTS[part] else "is logged of the jobs"
        )
        assert why in said, name
        assert ("site=Birch" in said) == ("where" in PARTS[part]), name
        if has_picture(answer):
            assert drawn(answer).startswith(f"{answer.question}. Cannot be told: "), name


def test_a_picture_without_a_breach_says_of_how_many_jobs(depot: Depot) -> None:
    """What is looked at of the whole is what is looked at of its parts; the site without logs adds to the others."""
    repaired = "select site, count(*) from jobs where disposition = 'repaired' group by site"
    sites = dict(depot.query(repaired).rows())
    for where, others in (({"site": "Alder"}, 0), (None, sites[BARE])):
        answer = depot.steps.breaches(where=where)
        assert (answer.judged, answer.unjudged) == (sites["Alder"], others)
        said = drawn(answer)
        assert f"No breach was met in {sites['Alder']} repaired jobs with a log and a procedure." in said
        assert "Looked for: step missing from the log, step or check skipped" in said
        assert (f"Of {others} other jobs it cannot be told." in said) == bool(others)


def test_where_it_can_be_told_it_is_said_of_how_many_jobs(depot: Depot) -> None:
    """At the site with logs all is seen; of all jobs together, those of that site alone."""
    sites = dict(depot.query("select site, count(*) from jobs group by site").rows())
    released = dict(depot.query("select site, count(*) from jobs where disposition = 'repaired' group by site").rows())
    own, both = sites["Alder"], sum(sites.values())
    for where, whole in (({"site": "Alder"}, own), (None, both)):
        answer = depot.steps.battery_breaches(where=where)
        assert answer.notes[0].startswith("No breach of the battery's order is logged")
        said = " ".join(answer.notes)
        assert f"A breach could be seen in {own} of {whole} closed jobs" in said
        assert (f"{sites[BARE]} jobs have no step log" in said) == (where is None)
    faults = depot.tests.release_faults(window=90)
    judged = f"The tests of {released['Alder']} of {sum(released.values())} released jobs can be judged"
    assert any(n.startswith(judged) for n in faults.notes)
    checks = depot.tests.releases(by="site", window=90)
    assert any(n.startswith(judged) for n in checks.notes)
    any_of = checks.table.filter(checks.table["check"] == "any")
    assert any_of.select("site", "jobs", "share").rows() == [("Alder", released["Alder"], 0.0), (BARE, 0, None)]


def test_an_action_on_work_that_logs_no_step_says_why_it_cannot_be_told() -> None:
    """The depot logs this step, the site does not: nothing in its scope can ever be seen."""
    action = {"what": "guide", "started_on": date(2024, 12, 2)}
    scopes = {"A1": f"site={BARE}; step=fit_board", "A2": "site=Alder; step=fit_board"}
    actions = [{**action, "action_id": name, "scope": scope} for name, scope in scopes.items()]
    with depot_of({**half_logged(), "actions": actions}, DAY) as opened:
        rows = {r["action_id"]: r for r in opened.verdicts().table.to_dicts()}
        said = lacking(opened._snapshot, read_scope(scopes["A1"]))
        assert lacking(opened._snapshot, read_scope(scopes["A2"])) is None
    assert rows["A1"]["verdict"] == "cannot be told"
    assert rows["A1"]["warning"] == said
    assert "no step is logged of the jobs closed so far (site=Birch)" in rows["A1"]["warning"]
    assert rows["A2"]["verdict"] != "cannot be told"


def renamed(tables: Tables) -> Tables:
    """The site logs its work, and calls the step otherwise."""
    whole = made(bad=False)
    sites = {j["job_id"]: j["site"] for j in tables["jobs"]}
    steps = [r | {"step": "other name"} if sites[r["job_id"]] == BARE and r["step"] == "fit_board" else r
             for r in whole["steps"] if r["job_id"] in sites]
    return {**tables, "steps": steps}


def test_an_action_on_a_step_that_its_site_never_logs_says_why_it_cannot_be_told() -> None:
    """The log is there and the step is not in it; where another site has it, that site alone is compared."""
    action = {"what": "guide", "started_on": date(2024, 12, 2)}
    scopes = {"A1": f"site={BARE}; step=fit_board", "A2": "site=Alder; step=fit_board", "A3": "step=fit_board",
              "A4": f"site={BARE}; step=fit_display", "A5": "procedure=display; step=fit_display"}
    actions = [{**action, "action_id": name, "scope": scope} for name, scope in scopes.items()]
    with depot_of({**renamed(half_logged()), "actions": actions}, DAY) as opened:
        rows = {r["action_id"]: r for r in opened.verdicts().table.to_dicts()}
        logged = opened.query(
            "select count(*) filter (site = 'Birch') as bare, count(*) filter (site = 'Birch' and procedure = 'board') "
            "as boards from jobs where closed_on is not null and job_id in (select job_id from steps)"
        ).row(0)
        said = lacking(opened._snapshot, read_scope(scopes["A1"]))
        assert {name for name, scope in scopes.items() if lacking(opened._snapshot, read_scope(scope))} == {"A1"}
        power = opened.actions.power(scopes["A1"])
        assert "“fit_board” was ever done" in " ".join(power.notes)
        assert power.table.is_empty()
    assert said
    assert said.lacks
    assert (rows["A1"]["verdict"], rows["A1"]["warning"]) == ("cannot be told", said)
    assert f"as no step “fit_board” was ever done in the {logged[0]} closed jobs with a step log in the scope" in said
    assert all(rows[name]["verdict"] != "cannot be told" for name in ("A2", "A3", "A4", "A5"))
    assert f"No step “fit_board” is ever logged at site {BARE}, in {logged[1]} jobs" in rows["A3"]["warning"]
    for name in ("A2", "A4", "A5"):
        assert "ever logged" not in (rows[name]["warning"] or ""), name
    same = ("jobs_before", "returned_before", "jobs_after", "returned_after")
    assert [rows["A3"][name] for name in same] == [rows["A2"][name] for name in same]
