"""Whether actions worked: counts against row loops, verdicts against their rule, and what a reader is warned of."""

import re
from collections.abc import Iterator
from contextlib import nullcontext
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from rqa.answers.core.action_scope import expected_ratio, read_scope, scope_of
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.stats import interrupted_series, mantel_haenszel, rate_change
from tests.answers.improve.made_actions import ACTIONS, STARTED, acting_depot
from tests.depots import depot_of

YEAR, WINDOW = timedelta(days=365), timedelta(days=30)


@pytest.fixture(scope="module")
def depot() -> Iterator[Depot]:
    with acting_depot() as opened:
        yield opened


def verdict(depot: Depot, action: str = "ACT-1", **how: Any) -> dict[str, Any]:
    (row,) = (r for r in depot.verdicts(**how).table.iter_rows(named=True) if r["action_id"] == action)
    return row


def action(**changes: Any) -> list[dict[str, Any]]:
    return [{**ACTIONS[0], **changes}]


def by_hand(depot: Depot, chosen: Any, started: date, today: date) -> dict[tuple[str, str], list[int]]:
    """Jobs and come-backs by site and side, one job at a time."""
    jobs = depot.query("select * from jobs").to_dicts()
    back = {r["unit_id"]: r for r in jobs if r["job_id"].startswith("R")}
    found: dict[tuple[str, str], list[int]] = {}
    for j in jobs:
        if not j["job_id"].startswith("J") or not chosen(j) or j["closed_on"] + WINDOW > today:
            continue
        if j["closed_on"] < started - YEAR:
            continue
        side = "before" if j["closed_on"] < started else "under way" if j["opened_on"] < started else "after"
        counted = found.setdefault((j["site"], side), [0, 0])
        counted[0] += 1
        counted[1] += j["unit_id"] in back and (back[j["unit_id"]]["opened_on"] - j["closed_on"]).days <= 30
    return found


def test_the_counts_and_the_change_are_those_of_a_row_loop(depot: Depot) -> None:
    row = verdict(depot)
    sums = by_hand(depot, lambda j: j["model"] == "Marl-10" and j["procedure"] == "board", STARTED, date(2026, 5, 29))
    for side, jobs, returned in (
        ("before", "jobs_before", "returned_before"),
        ("after", "jobs_after", "returned_after"),
    ):
        assert (row[jobs], row[returned]) == tuple(np.sum([sums["Alder", side], sums["Birch", side]], axis=0))
    assert row["under_way"] == sums["Alder", "under way"][0] + sums["Birch", "under way"][0]
    # Both sites have work on both sides, so the change rests on all of it.
    assert row["comparable"] == row["jobs_before"] + row["jobs_after"]
    tables = [
        [[sums[s, "after"][1], sums[s, "after"][0] - sums[s, "after"][1]],
         [sums[s, "before"][1], sums[s, "before"][0] - sums[s, "before"][1]]]
        for s in ("Alder", "Birch")
    ]
    ratio = mantel_haenszel(tables, measure="risk")
    assert row["ratio"] == pytest.approx(float(ratio.estimate), abs=1e-6)
    assert (row["ratio_low"], row["ratio_high"]) == pytest.approx((float(ratio.low), float(ratio.high)), abs=1e-6)
    beside = by_hand(depot, lambda j: j["model"] == "Marl-8" and j["procedure"] == "board", STARTED, date(2026, 5, 29))
    assert row["other_before"] == beside["Alder", "before"][0] + beside["Birch", "before"][0]
    assert row["other_returned_after"] == beside["Alder", "after"][1] + beside["Birch", "after"][1]
    both = (sums, beside)
    differences = []
    for found in both:
        counted = {side: np.array([found[s, side] for s in ("Alder", "Birch")]) for side in ("before", "after")}
        r = rate_change(
            returned_before=counted["before"][:, 1], before=counted["before"][:, 0],
            returned_after=counted["after"][:, 1], after=counted["after"][:, 0],
        )
        differences.append(float(r.difference))
    assert row["difference"] == pytest.approx(differences[0], abs=1e-6)
    assert row["net"] == pytest.approx(differences[0] - differences[1], abs=2e-6)


def test_one_worked_and_the_other_gave_no_sign(depot: Depot) -> None:
    worked, still = verdict(depot), verdict(depot, "ACT-2")
    assert (worked["verdict"], worked["expected_on"]) == ("worked", None)
    assert worked["ratio_high"] < 1
    assert (still["verdict"], still["seen_on"]) == ("no sign yet", None)
    assert still["ratio_low"] < 1 < still["ratio_high"]
    assert still["comparison"] is None


def test_a_verdict_stays_however_often_it_is_read(depot: Depot) -> None:
    """Read as of every twentieth day: too early until the month end on which it was seen, then the same."""
    told = []
    for day in range(0, 140, 20):
        as_of = date(2026, 1, 16) + timedelta(days=day)
        with nullcontext(Depot(depot._store, as_of)) as then:
            row = verdict(then)
        told.append((as_of, row["verdict"], row["seen_on"]))
        if row["verdict"] == "too early":
            assert row["expected_on"] > as_of
    seen = next(day for _, word, day in told if word == "worked")
    assert (seen + timedelta(days=1)).day == 1
    assert {(word, day) for as_of, word, day in told if as_of >= seen} == {("worked", seen)}
    assert {word for as_of, word, _ in told if as_of < seen} == {"too early"}


def test_a_change_for_the_worse() -> None:
    with acting_depot(before=30, after=110) as depot:
        row = verdict(depot)
    assert row["verdict"] == "made it worse"
    assert row["low"] > 0


@pytest.mark.parametrize(("before", "after"), [(500, 0), (1_000, 0), (0, 700)])
def test_a_change_beyond_all_doubt(before: int, after: int) -> None:
    """Half of the jobs to none, all to none, none to most: the exact test's p-value is far below 1e-16."""
    with acting_depot(jobs=4_000, before=before, after=after) as depot:
        row = verdict(depot)
    assert row["verdict"] == ("worked" if after < before else "made it worse")
    assert 0 < row["p_value"] < 1e-16
    assert row["low"] <= row["difference"] <= row["high"]


def test_little_work_is_too_early_and_says_what_it_could_show() -> None:
    with acting_depot(jobs=300) as depot:
        row = verdict(depot)
    assert row["verdict"] == "too early"
    assert row["expected_on"] > date(2026, 5, 29)
    said = re.search(r"Low volume: with ([\d,]+) jobs in 12 months the chance of detecting", row["warning"])
    assert said
    assert row["before_from"] == row["started_on"] - timedelta(days=365), "a whole year of jobs is there"
    assert int(said[1].replace(",", "")) == row["jobs_before"], "the year before is one of as many jobs"


def test_an_action_of_tomorrow_and_one_without_work_before() -> None:
    actions = [*action(started_on=date(2026, 8, 1)), *action(action_id="ACT-0", started_on=date(2024, 12, 1))]
    with acting_depot(jobs=3000, actions=actions) as depot:
        later, never = verdict(depot), verdict(depot, "ACT-0")
    assert later["verdict"] == "too early"
    assert later["expected_on"] > date(2026, 9, 1)
    assert later["jobs_after"] == 0
    assert later["difference"] is None
    assert (never["verdict"], never["expected_on"]) == ("cannot be told", None)
    assert "no matured work in the scope from the 365 days before the start" in never["warning"]


BAD_SPELL = """
insert into jobs (job_id, unit_id, model, site, procedure, opened_at, disposition, closed_at, found, opened_on,
    closed_on)
select 'S' || job_id, unit_id, model, site, procedure, closed_on + interval 5 day, 'not_economic',
    closed_on + interval 6 day, 'display', closed_on + 5, closed_on + 6
from jobs where job_id like 'J%' and model = 'Marl-10' and procedure = 'board'
    and closed_on between date '2025-12-10' and date '2026-01-08' and cast(substr(job_id, 2) as integer) % 5 = 0
"""


def test_a_bad_spell_before_the_start_is_left_out_and_said() -> None:
    with acting_depot(before=60, after=60, more=BAD_SPELL) as depot:
        row = verdict(depot)
        plain = by_hand(
            depot, lambda j: j["model"] == "Marl-10" and j["procedure"] == "board", STARTED, depot._snapshot.day
        )
    assert row["verdict"] == "too early"
    assert row["warning"].startswith("The 60 days before the start were bad: ")
    assert "with them the rate changed by " in row["warning"]
    assert row["jobs_before"] == plain["Alder", "before"][0] + plain["Birch", "before"][0]
    assert row["high"] > 0


def test_scopes_that_cannot_be_read_are_told_in_the_row() -> None:
    actions = [
        *action(action_id="A", scope="model=Marl-99"), *action(action_id="B", scope="colour=red"),
        *action(action_id="C", scope="everything"),
    ]
    with acting_depot(jobs=600, actions=actions) as depot:
        table = depot.verdicts().table
    assert table["verdict"].to_list() == ["cannot be judged"] * 3
    said = table["warning"].to_list()
    assert "A: there is no model 'Marl-99' in the store. There is: Marl-10, Marl-8" in said[0]
    assert "B: a scope cannot name 'colour'. It can name site, model" in said[1]
    assert "C: the part 'everything' is no filter" in said[2]


def test_where_no_come_back_can_be_seen_no_verdict_is_too_early_or_without_a_sign() -> None:
    """Serials that are those of the job: nothing could ever be seen, so nothing is to be waited for."""
    with acting_depot(jobs=3000, more="update jobs set unit_id = job_id") as depot:
        r, spared, power = depot.verdicts(), depot.actions.savings(), depot.actions.power("model=Marl-10")
    assert r.table["verdict"].to_list() == ["cannot be told"] * 2
    warnings = r.table["warning"].to_list()
    assert all(w.startswith("Cannot be told: whether come-backs became fewer") and "unit_id" in w for w in warnings)
    assert r.notes[0].startswith("Cannot be told: ")
    assert power.notes[0].startswith("Cannot be told: ")
    assert spared.table.select("avoided", "cost").null_count().row(0) == (2, 2)


def test_a_step_s_scope_without_a_step_log_cannot_be_told() -> None:
    with acting_depot(jobs=3000, more="delete from steps") as depot:
        row = verdict(depot)
    assert row["verdict"] == "cannot be told"
    assert "steps" in row["warning"]


def test_without_confirmed_faults_all_come_backs_count_and_it_says_so() -> None:
    """The come-backs are the same, and so is the verdict; only what they are called changes."""
    with acting_depot() as known, acting_depot(more="update jobs set found = null") as unknown:
        before, after = verdict(known), verdict(unknown)
    for name in ("verdict", "jobs_after", "returned_before", "returned_after", "net", "seen_on"):
        assert after[name] == before[name], name
    assert before["verdict"] == "worked"
    assert after["outcome"] == "come-backs of any class, as it is not known which are on own work"


@pytest.mark.parametrize(
    "how", [{}, {"jobs": 300}, {"before": 60, "after": 60}, {"before": 30, "after": 110}, {"as_of": date(2026, 2, 1)}]
)
def test_no_sum_is_named_before_a_verdict_is_told(how: dict[str, Any]) -> None:
    with acting_depot(more=COSTS, **how) as depot:
        told = dict(depot.verdicts().table.select("action_id", "verdict").iter_rows())
        spared = depot.actions.savings()
    for row in spared.table.iter_rows(named=True):
        sure = told[row["action_id"]] in ("worked", "made it worse")
        assert [row[name] is not None for name in ("avoided", "avoided_low", "cost", "cost_high")] == [sure] * 4
        waits = any(row["action_id"] in n and "is not known" in n for n in spared.notes)
        assert waits == (not sure)


def test_actions_on_the_same_work_at_the_same_time_are_said() -> None:
    other = {**ACTIONS[0], "action_id": "ACT-9", "scope": "model=Marl-10", "started_on": date(2025, 12, 1)}
    with acting_depot(jobs=900, actions=[*ACTIONS, other]) as depot:
        assert "ACT-9 began within a year" in verdict(depot)["warning"]
        assert "ACT-1" in verdict(depot, "ACT-9")["warning"]


@pytest.mark.parametrize(
    ("scope", "same"),
    [
        ("procedure=screen", False), ("step=fit screen", False), ("model=Marl-8", False), ("site=Alder", True),
        ("procedure=board", True), ("step=seat board", True), ("procedure=screen,board", True),
    ],
)
def test_only_actions_in_whose_scopes_the_same_jobs_lie_are_told_of_each_other(scope: str, same: bool) -> None:
    """ACT-1 is about boards of Marl-10; a step that is done in screen jobs alone is other work, though not named so."""
    other = {**ACTIONS[0], "action_id": "ACT-9", "scope": scope, "started_on": date(2025, 12, 1)}
    with acting_depot(jobs=900, actions=[ACTIONS[0], other]) as depot:
        table = depot.verdicts().table
    told = dict(table.select("action_id", "concurrent").iter_rows())
    assert told == ({"ACT-1": "ACT-9", "ACT-9": "ACT-1"} if same else {"ACT-1": "", "ACT-9": ""})


@pytest.mark.parametrize("scope", [ACTIONS[0]["scope"], "shelf=3"])
def test_an_action_closed_or_begun_before_the_data_is_told(scope: str) -> None:
    old = {**ACTIONS[0], "scope": scope, "started_on": date(2024, 3, 1), "closed_on": date(2024, 11, 3)}
    with acting_depot(jobs=900, actions=[old]) as depot:
        warning = verdict(depot)["warning"]
    assert "closed on 2024-11-03, before the first day with data, 2024-12-30: check the day." in warning
    assert "begun on 2024-03-01, before the first day with data" in warning


def test_an_action_within_the_data_has_nothing_odd_in_its_days(depot: Depot) -> None:
    assert not any("before the first day with data" in (w or "") for w in depot.verdicts().table["warning"])


def test_no_actions_is_an_empty_answer_that_says_what_to_do() -> None:
    with depot_of({}) as depot:
        r = depot.verdicts()
    assert r.table.height == 0
    assert any("rqa action WORKSPACE" in note for note in r.notes)


def test_first_checks_of_the_step_stand_beside(depot: Depot) -> None:
    row = verdict(depot)
    steps = depot.query(
        "select s.outcome, s.done_on < date '2026-01-12' as before from steps s join jobs j using (job_id) where "
        "j.model = 'Marl-10' and step = 'seat board' and done_on >= date '2025-01-12' and done_on <= date '2026-05-29'"
    ).to_dicts()
    for side, flag in (("before", True), ("after", False)):
        outcomes = [s["outcome"] for s in steps if s["before"] == flag]
        assert row[f"checks_{side}"] == len(outcomes)
        assert row[f"yield_{side}"] == pytest.approx(outcomes.count("pass") / len(outcomes), abs=1e-6)


def test_the_trend_is_that_of_the_months(depot: Depot) -> None:
    with nullcontext(Depot(depot._store, date(2026, 6, 29))) as late:
        r = late.actions.trend("ACT-1")
    used = r.table.filter(r.table["side"] != "start")
    assert r.table.filter(r.table["side"] == "start")["month"].to_list() == [date(2026, 1, 1)]
    fit = interrupted_series(
        count=used["returned"], size=used["jobs"], first_after=12, place=[*range(12), *range(13, 12 + used.height - 11)]
    )
    assert used["fitted"].to_numpy() == pytest.approx(fit.fitted, abs=1e-6)
    assert r.terms is not None
    assert r.terms["odds_ratio"].to_list() == pytest.approx(np.exp(fit.estimate[2:]).tolist(), abs=1e-6)
    young = depot.actions.trend("ACT-1")
    assert young.table["fitted"].null_count() == young.table.height
    assert "a trend is fitted from 12 and 3 on" in young.notes[-2]


def test_power_is_what_the_verdict_plans(depot: Depot) -> None:
    r = depot.actions.power("procedure=screen; step=fit screen", change="by half")
    assert r.settings["change"] == 0.5
    enough = r.table.filter(r.table["enough"])
    assert (enough["chance"] >= 0.8).all()
    first = enough.row(0, named=True)
    assert first["smallest_ratio"] >= 0.5
    assert (first["known_on"] - depot._snapshot.day).days == round(first["weeks"] * 7)
    assert any(f"It takes {first['jobs_after']:,} matured jobs" in note for note in r.notes)
    # The same work before, a year's worth: what the verdict plans for from two months of come-backs more or less.
    assert first["jobs_after"] == pytest.approx(verdict(depot, "ACT-2")["jobs_needed"], rel=0.35)


@pytest.mark.parametrize("months", [13, 7, 3])
def test_the_work_of_a_month_is_that_of_the_days_logged(months: int) -> None:
    """The same work a day, logged since so many months before the start: the plan for the months after is the same.

    A log that begins less than a year before an action once had its jobs spread over twelve months all the same.
    """
    begins = STARTED - timedelta(days=30 * months)
    earlier = f"delete from jobs where closed_on < date '{begins}'"
    with acting_depot(actions=action(), more=earlier) as depot:
        row = verdict(depot)
        days = min(365, 30 * months)
        assert row["before_from"] == STARTED - timedelta(days=days)
        boards = depot.query(
            "select count(*) as jobs from jobs where procedure = 'board' and model = 'Marl-10' and closed_on >= $day "
            "and disposition = 'repaired' and closed_on < $started",
            {"day": STARTED - timedelta(days=days), "started": STARTED},
        )["jobs"][0]
        assert boards == row["jobs_before"]
        # 9,000 jobs in 500 days, a third of them boards of this model; from one month to the twelve of the last look.
        monthly = boards / days * 365.25 / 12
        assert monthly == pytest.approx(9000 / 500 / 3 * 365.25 / 12, rel=0.05)
        told = depot.actions.power(row["scope"], change="by half", months=12).table["jobs_after"]
        assert told.to_list() == pytest.approx([monthly * n for n in range(1, 13)], rel=0.05)
        assert any(row["jobs_needed"] == pytest.approx(monthly * n, abs=1) for n in range(1, 13))


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda d: d.verdicts(window=-1), "window is a whole number of days"),
        (lambda d: d.verdicts(level=1.0), "level is a number between 0 and 1"),
        (lambda d: d.actions.trend("ACT-7"), "no action 'ACT-7'. There is: ACT-1, ACT-2"),
        (lambda d: d.actions.power("site=Cedar"), "power: there is no site 'Cedar'"),
        (lambda d: d.actions.power({"bench": "B1"}), "cannot name 'bench'"),
        (lambda d: d.actions.power("site=Alder", change=1), "change is a factor"),
        (lambda d: d.actions.power("site=Alder", change="soon"), "by a third"),
        (lambda d: d.actions.power("site=Alder", months=0), "1 to 60"),
        (lambda d: d.actions.power("site=Alder", power=1.2), "power is a number between 0 and 1"),
        (lambda d: d.actions.power({"site": 3}), "takes a text or a list of texts"),
    ],
)
def test_mistakes_are_told(depot: Depot, ask: Any, said: str) -> None:
    with pytest.raises(RequestError) as error:
        ask(depot)
    assert said in str(error.value)


@pytest.mark.parametrize(
    ("text", "ratio"),
    [
        ("fewer come-backs of the display: by half", 0.5), ("come-backs x0.4", 0.4), ("× 0.25", 0.25),
        ("by a third", 2 / 3), ("by two thirds", 1 / 3), ("By 30 %", 0.7), ("by 12.5 percent", 0.875),
        ("halve them", 0.5), ("", None), (None, None), ("to 3 %", None), ("yield up by 5 %", None), ("x1.5", None),
        ("by 130 %", None), ("better", None),
    ],
)
def test_expected_changes_in_words(text: str | None, ratio: float | None) -> None:
    assert expected_ratio(text) == (None if ratio is None else pytest.approx(ratio))


def test_scopes_are_read_and_written_alike() -> None:
    text = 'site=Alder,Birch; model=Marl-10; step="seat; left, right"'
    scope = read_scope(text)
    assert scope.jobs == {"site": ("Alder", "Birch"), "model": ("Marl-10",)}
    assert scope.steps == ("seat; left, right",)
    assert str(scope) == text
    assert scope_of(scope.where) == scope


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the scope is empty"), ("model", "the part 'model' is no filter"),
        ("model=", "'model=' is no filter"), ("model=a; model=b", "model is named twice; write model=a,b"),
        ('model="a', "a quotation mark that is not closed"), ("bench=B1", "cannot name 'bench'"),
    ],
)
def test_scopes_that_are_none(text: str, said: str) -> None:
    with pytest.raises(RequestError, match=r"^ACT-5: ") as error:
        read_scope(text, of="ACT-5")
    assert said in str(error.value)


def test_a_control_chart_takes_the_scope_of_an_action_as_it_is_written() -> None:
    actions = action(scope='site=Alder,Birch; model="Marl-10"')
    with acting_depot(jobs=900, actions=actions) as depot:
        by_action = depot.control_chart("comebacks", where="ACT-1", stages="ACT-1")
        by_hand = depot.control_chart(
            "comebacks", where={"site": ["Alder", "Birch"], "model": "Marl-10"}, stages="ACT-1"
        )
    assert by_action.table.equals(by_hand.table)


COSTS = "update jobs set parts_cost = 40, freight_cost = 10, labour_minutes = 0 where job_id like 'R%'"


def test_what_an_action_spared_is_the_fall_of_its_rate_in_jobs_and_in_money() -> None:
    """Every come-back costs 50, so the cost spared is 50 times the number, limits and all."""
    with acting_depot(more=COSTS) as costly:
        judged, spared = verdict(costly), costly.actions.savings().table.row(0, named=True)
    assert judged["net"] < 0
    numbers = [spared[name] for name in ("avoided", "avoided_low", "avoided_high")]
    rates = [-judged["jobs_after"] * judged[name] for name in ("net", "net_high", "net_low")]
    assert numbers == pytest.approx(rates, abs=1e-3)
    assert spared["mean_cost"] == 50.0
    assert [spared[name] for name in ("cost", "cost_low", "cost_high")] == pytest.approx(
        [50 * n for n in numbers], rel=0.02
    )


def test_without_a_known_cost_come_backs_are_spared_and_no_money(depot: Depot) -> None:
    spared = depot.actions.savings().table.row(0, named=True)
    assert spared["avoided"] > 0
    assert spared["cost"] is None
