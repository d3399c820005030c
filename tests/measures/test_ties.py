"""Jobs that touch at one instant: the cases in which an order or a comparison is easily written the wrong way round."""

from tests.depots import depot_of
from tests.measures.depot_rows import job


def links(*jobs: dict[str, object]) -> tuple[dict[str, str | None], list[str]]:
    with depot_of({"jobs": jobs}) as depot:
        found = dict(depot.query("select job_id, return_job_id from links").rows())
        return found, depot.data.overlaps().table["job_id"].to_list()


def test_a_job_opened_as_another_closes_is_a_return() -> None:
    assert links(job("A", "U", "01-01", "01-05"), job("B", "U", "01-05", "01-06")) == ({"A": "B", "B": None}, [])


def test_touching_is_not_overlapping_beside_jobs_that_do() -> None:
    """B lies within A; C opens as A ends and is no fault. D follows C."""
    found, out = links(
        job("A", "U", "01-01", "01-05"), job("B", "U", "01-02", "01-03"), job("C", "U", "01-05", "01-06"),
        job("D", "U", "01-06", "01-07"),
    )
    assert out == ["A", "B"]
    assert found == {"C": "D", "D": None}


def test_a_job_of_no_length_comes_before_one_that_opens_with_it() -> None:
    """Whatever their ids: B was opened and closed at the instant at which A was opened."""
    found, out = links(job("A", "U", "01-02", "01-09"), job("B", "U", "01-02", "01-02"))
    assert (found, out) == ({"A": None, "B": "A"}, [])
    found, out = links(
        job("A", "U", "01-02", "01-09"), job("B", "U", "01-02", "01-02"), job("C", "U", "02-01", "02-05"),
        job("D", "U", "02-02", "02-03"),
    )
    assert (found, out) == ({"A": None, "B": "A"}, ["C", "D"])


def test_jobs_of_no_length_at_one_instant_follow_by_id() -> None:
    assert links(job("B", "U", "01-02", "01-02"), job("A", "U", "01-02", "01-02")) == ({"A": "B", "B": None}, [])


def test_an_open_job_overlaps_what_follows_and_a_cancelled_one_nothing() -> None:
    found, out = links(
        job("A", "U", "01-01", "01-02"), job("B", "U", "01-05", None, disposition="open"),
        job("C", "U", "01-06", "01-07"), job("D", "U", "01-01", "02-01", disposition="cancelled"),
    )
    assert out == ["B", "C"]
    assert found == {"A": None}


def test_a_placeholder_unit_shared_by_many_jobs_stays_linear() -> None:
    """Two thousand jobs on one "unit", each within the first: each is listed once."""
    jobs = [job("J0000", "X", "01-01", "12-31")]
    jobs += [job(f"J{n:04}", "X", "02-01", "02-02") for n in range(1, 2001)]
    found, out = links(*jobs)
    assert found == {}
    assert len(out) == 2001
