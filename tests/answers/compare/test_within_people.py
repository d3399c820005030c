"""Benches, tools and stations are not blamed for the people who work there, and what was not measured is told."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from rqa.answers.compare.within_people import NOT_NAMED, NOT_TOLD_APART, by_place_and_person, people_told, within_people
from rqa.answers.core.finding import RELEVANT, Finding, judged, relevant
from rqa.errors import RequestError
from tests.answers.compare.test_checks_of_a_job import depot_checked


def work_of(rng, own, sd, bench_0=1.0, people=8, places=4, each=900):
    """Events and trials by place, person and kind: people differ, and do `own` of their work at their own place."""
    level = np.exp(rng.normal(0.0, sd, people))
    at_own = np.eye(places)[np.arange(people) % places]
    share = own * at_own + (1.0 - own) / places
    trials = np.stack([rng.multinomial(each, s) for s in share], axis=1)
    by_kind = np.stack([trials // 3, trials - trials // 3], axis=2)
    chance = level[np.newaxis, :, np.newaxis] * np.array([0.04, 0.09])
    chance = chance * np.where(np.arange(places) == 0, bench_0, 1.0)[:, np.newaxis, np.newaxis]
    return rng.binomial(by_kind, np.minimum(chance, 1.0)), by_kind


def shares_of(x, n):
    return x.sum(axis=(0, 1)) / n.sum(axis=(0, 1))


def test_what_a_place_is_due_row_by_row():
    """Each person's events over what the mix brings, at each place; the variance less what the person's level takes."""
    x, n = work_of(np.random.default_rng(3), 0.6, 0.5)
    share = shares_of(x, n)
    r = within_people(events=x, trials=n, share=share)
    for place in range(4):
        due = taken = 0.0
        for person in range(8):
            brings = [sum(n[p, person, k] * share[k] for k in range(2)) for p in range(4)]
            width = [sum(n[p, person, k] * share[k] * (1 - share[k]) for k in range(2)) for p in range(4)]
            level = sum(x[p, person, k] for p in range(4) for k in range(2)) / sum(brings)
            due += level * brings[place]
            taken += level * (width[place] - width[place] ** 2 / sum(width))
        assert r.expected[place] == pytest.approx(due, rel=1e-12)
        assert r.variance[place] == pytest.approx(taken, rel=1e-12)
        assert r.observed[place] == x[place].sum()
    assert r.told.all()


def test_who_works_at_one_place_alone_tells_nothing_of_it():
    x, n = work_of(np.random.default_rng(4), 1.0, 0.5)
    r = within_people(events=x, trials=n, share=shares_of(x, n))
    assert r.no_comparator.tolist() == n.sum(axis=(1, 2)).tolist()
    assert r.expected.tolist() == [0.0] * 4
    assert not r.told.any()


def test_a_kind_of_work_of_one_place_alone_is_not_compared_with_itself():
    """Two people, 200 checks each at each of two places, of which place 0 fails twice as many: 80 against 40.

    By hand: each person had 60 failures at two places with as much work, so 60 are due at each place.
    """
    n = np.array([[[200, 400], [200, 400]], [[200, 0], [200, 0]]])
    x = np.array([[[40, 120], [40, 120]], [[20, 0], [20, 0]]])
    r = within_people(events=x, trials=n, share=shares_of(x, n))
    assert r.no_comparator.tolist() == [800, 0]
    assert r.exposures.tolist() == [400, 400]
    assert r.observed.tolist() == [80, 40]
    assert r.expected == pytest.approx([60.0, 60.0])
    without = within_people(events=x[:, :, :1], trials=n[:, :, :1], share=shares_of(x, n)[:1])
    assert r.z.tolist() == without.z.tolist()


@pytest.mark.parametrize(("own", "bench_0", "least", "most"), [(0.0, 1.0, 0.0, 0.09), (0.8, 1.0, 0.0, 0.09),
                                                               (0.8, 1.8, 0.6, 1.0)])
def test_people_who_differ_make_no_bench_stand_out(own, bench_0, least, most):
    """400 workshops: p below 0.05 at bench 0 in one of twenty, where plain comparison has it in over half.

    Three standard errors of a share of 0.05 of 400 are 0.033.
    """
    rng = np.random.default_rng(8)
    within, plain = [], []
    for _ in range(400):
        x, n = work_of(rng, own, 0.5, bench_0)
        within.append(within_people(events=x, trials=n, share=shares_of(x, n)).p_value[0] < 0.05)
        due = (n @ shares_of(x, n)).sum(axis=1)[0]
        plain.append(abs(x[0].sum() - due) > 1.96 * (due * 0.75) ** 0.5)
    assert least <= np.mean(within) <= most
    assert np.mean(plain) > 0.4 or own == 0.0


def test_work_that_names_nobody_is_of_no_person():
    """Unnamed work at both places, which would pass for a person who works at both, leaves the places their plain word.

    The named people work at one place each, in nine of ten checks named and in one of ten.
    """
    x, n = work_of(np.random.default_rng(4), 1.0, 0.5, people=2, places=2)
    share = shares_of(x, n)
    r = within_people(events=x, trials=n, share=share)
    assert people_told(r, n, n.sum(axis=1) // 9, share).tolist() == [NOT_TOLD_APART] * 2
    assert people_told(r, n, n.sum(axis=1) * 9, share).tolist() == [NOT_NAMED] * 2
    x, n = work_of(np.random.default_rng(4), 0.0, 0.5, people=2, places=2)
    r = within_people(events=x, trials=n, share=share)
    assert people_told(r, n, n.sum(axis=1) // 9, share).tolist() == ["allowed for"] * 2
    assert people_told(r, n, n.sum(axis=1) * 99, share).tolist() == [NOT_NAMED] * 2


def test_rows_become_places_people_and_kinds():
    rows = [("B2", "T1", "x", 1, 9), ("B1", "T1", "y", 2, 8), ("B2", "T2", "x", 0, 7), ("B9", "T1", "x", 5, 5)]
    x, n, people = by_place_and_person(rows, ("B1", "B2"), (("x",), ("y",)))
    assert people == ("T1", "T2")
    assert n.tolist() == [[[0, 8], [0, 0]], [[9, 0], [7, 0]]]
    assert x.tolist() == [[[0, 2], [0, 0]], [[1, 0], [0, 0]]]
    assert by_place_and_person([], ("B1",), (("x",),))[0].shape == (1, 0, 1)


def depot_of_benches(of_person):
    """800 jobs of four people, at the bench that is given for each; T0 fails one check in three, others one in ten."""
    rng = np.random.default_rng(6)
    person = np.arange(800) % 4
    failed = rng.random((800, 3)) < np.where(person == 0, 0.33, 0.1)[:, np.newaxis]
    bench = np.array([of_person(p, i) for i, p in enumerate(person)])
    return depot_checked(failed, person * 0, technician=person, bench=bench)


def test_a_bench_with_its_own_people_may_be_its_people_and_the_finding_says_so():
    with depot_of_benches(lambda p, i: p % 2) as depot:
        r = depot.compare("bench", outcome="first_pass")
    assert set(r.table["people"]) == {NOT_TOLD_APART}
    (told,) = r.findings
    assert told.scope == {"bench": "B0"}
    assert told.what.endswith("; this is the bench or its people, who hardly work elsewhere")
    assert "The people at 2 of 2 benches hardly work elsewhere" in " ".join(r.notes)
    # The ratio, and the limit of it nearer to 1, by VanderWeele and Ding's formula.
    row = r.table.row(0, named=True)
    for name, ratio in (("e_value", row["ratio"]), ("e_value_limit", row["low"])):
        assert row[name] == pytest.approx(ratio + (ratio * (ratio - 1)) ** 0.5, abs=1e-5)
    assert f"{row['e_value']:.1f} times as common here" in told.caution
    assert f"B0 {row['e_value']:.1f} ({row['e_value_limit']:.1f})" in " ".join(r.notes)


def test_unnamed_work_is_left_out_of_a_comparison_within_people_and_the_notes_say_what_is():
    """Half of the jobs name nobody and are done at both benches; T0 and T1 work at one bench each."""
    rng = np.random.default_rng(6)
    failed, i = rng.random((800, 3)) < 0.2, np.arange(800)
    names, bench = [f"T{n % 2}" if n % 4 < 2 else None for n in i], np.where(i % 4 < 2, i % 2, (i // 4) % 2)
    with depot_checked(failed, i * 0, technician=names, bench=bench) as depot:
        apart = depot.compare("bench", outcome="first_pass")
    assert set(apart.table["people"]) == {NOT_TOLD_APART}
    # T0 and T1 work at both benches, T2 at B0 alone, and one job in four names nobody.
    who = np.array([0, 1, 2, -1])[i % 4]
    names, bench = [f"T{n}" if n >= 0 else None for n in who], np.where(who == 2, 0, (i // 4) % 2)
    failed = rng.random((800, 3)) < np.where(bench == 0, 0.15, 0.4)[:, np.newaxis]
    with depot_checked(failed, i * 0, technician=names, bench=bench) as depot:
        r = depot.compare("bench", outcome="first_pass")
    assert set(r.table["people"]) == {"allowed for"}
    named = (who == 0) | (who == 1)
    assert r.table["exposures"].to_list() == [3 * int((named & (bench == b)).sum()) for b in (0, 1)]
    assert r.table["no_comparator"].to_list() == [3 * int((~named & (bench == b)).sum()) for b in (0, 1)]
    said = " ".join(r.notes)
    assert f"{3 * int((~named).sum()):,} first checks cannot be compared with the same people's work at another" in said
    assert "nobody else of those compared" not in said
    assert "taken times each person's own level" in said
    assert "Work is compared within technician, model" in said
    assert all(f.what.endswith(" in the whole depot with the same people") for f in r.stated)
    told = {f.scope["bench"]: f.caution for f in r.stated}
    assert "times as common in all the work as here" in told["B0"]
    assert "times as common here as in all the work" in told["B1"]


def test_a_bench_is_compared_within_people_who_work_at_several():
    """T0 does five of six jobs at B0; what fails there fails with T0 elsewhere, too."""
    with depot_of_benches(lambda p, i: int(i % 24 < 4) if p == 0 else (i // 4) % 2) as depot:
        r = depot.compare("bench", outcome="first_pass")
        plain = depot.compare("bench", outcome="first_pass", mix=("model", "procedure", "billing"))
    assert set(r.table["people"]) == {"allowed for"}
    assert r.settings["mix"] == ("technician", "model", "procedure", "billing", "step")
    assert r.findings == ()
    assert set(r.table["e_value_limit"]) == {1.0}
    assert "people" not in plain.table.columns
    assert [f.scope["bench"] for f in plain.findings] == ["B0"]


def finding(**changed):
    made = Finding("x", {"bench": "B-1"}, "x", "difference of shares", 0.1, 0.0, 0.2, True, 50, 1e-6, "mind", "look")
    return replace(made, **changed)


@pytest.mark.parametrize(("changed", "listed"), [
    ({}, True), ({"relative": 1.09}, False), ({"relative": 1.11}, True), ({"relative": 0.95}, False),
    ({"relative": 0.5}, True), ({"relative": float("inf")}, True),
    ({"measure": "observed / expected", "size": 1.05}, False), ({"measure": "risk ratio", "size": 1.5}, True),
    ({"measure": "difference, A", "in_sd": 0.15}, False), ({"measure": "difference, A", "in_sd": -0.3}, True),
])
def test_a_finding_is_of_a_size_to_act_on(changed, listed):
    one = finding(**changed)
    assert relevant(one) is listed
    assert bool(judged([one])) is listed
    assert judged([one], least={"ratio": 1.0, "sd": 0.0})
    assert set(RELEVANT) == {"ratio", "sd"}


def test_how_large_a_finding_must_be_can_be_said():
    with depot_of_benches(lambda p, i: p % 2) as depot:
        month = depot.findings()
        strict = depot.findings(least={"ratio": 9.0})
        for wrong in ({"ratio": 0.5}, {"size": 1}, {"sd": "much"}, 3):
            with pytest.raises(RequestError):
                depot.findings(least=wrong)
    assert isinstance(month.table, pl.DataFrame)
    assert strict.findings == ()
    assert strict.settings["least"] == {"ratio": 9.0, "sd": 0.25}
    # A ratio counts from 1.1, or up to 1 / 1.1 = 0.909; from 9, or up to 1 / 9 = 0.111.
    assert "at least 10 % more than where it is compared, or 9.1 % less;" in " ".join(month.notes)
    assert "at least 800 % more than where it is compared, or 88.9 % less;" in " ".join(strict.notes)
    assert len(month.findings) > 0
    assert "statistically clear and left out" in " ".join(strict.notes)
