"""Clocks that are changed by an hour, by half of one, by two or by a day: which readings were skipped or came twice."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import duckdb
import pytest

from rqa.intake.values import ParseOptions, clock_change, put_back
from rqa.intake.zones import change_days, minutes_put_back
from tests.cases import some_slow

HALF, HOUR = timedelta(minutes=30), timedelta(hours=1)
# Readings around changes as the zone database has them (IANA, 2024): the day, the old and the new clock at the change.
READINGS = [
    ("Europe/Lisbon", "2024-03-31 01:30", "skipped", None),
    ("Europe/Lisbon", "2024-03-31 00:59", None, None),
    ("Europe/Lisbon", "2024-03-31 02:00", None, None),
    ("Europe/Lisbon", "2024-10-27 01:30", "repeated", HOUR),
    ("Europe/Lisbon", "2024-10-27 02:00", None, None),
    # Lord Howe Island, 7 April 2024: 02:00 became 01:30; 6 October 2024: 02:00 became 02:30.
    ("Australia/Lord_Howe", "2024-04-07 01:29", None, None),
    ("Australia/Lord_Howe", "2024-04-07 01:30", "repeated", HALF),
    ("Australia/Lord_Howe", "2024-04-07 01:59", "repeated", HALF),
    ("Australia/Lord_Howe", "2024-04-07 02:00", None, None),
    ("Australia/Lord_Howe", "2024-10-06 02:15", "skipped", None),
    ("Australia/Lord_Howe", "2024-10-06 02:30", None, None),
    # Magadan, 26 October 2014: 02:00 became 00:00. Troll station changes by two hours twice a year.
    ("Asia/Magadan", "2014-10-25 23:59", None, None),
    ("Asia/Magadan", "2014-10-26 00:00", "repeated", 2 * HOUR),
    ("Asia/Magadan", "2014-10-26 01:59", "repeated", 2 * HOUR),
    ("Asia/Magadan", "2014-10-26 02:00", None, None),
    ("Antarctica/Troll", "2024-10-27 01:30", "repeated", 2 * HOUR),
    # Samoa left out 30 December 2011; Pyongyang put its clock back by half an hour on 15 August 2015.
    ("Pacific/Apia", "2011-12-30 12:00", "skipped", None),
    ("Asia/Pyongyang", "2015-08-14 23:45", "repeated", HALF),
    ("UTC", "2024-03-31 01:30", None, None),
]


@pytest.mark.parametrize(("zone", "reading", "said", "back"), READINGS)
def test_a_reading_near_a_change(zone: str, reading: str, said: str | None, back: timedelta | None) -> None:
    options = ParseOptions(zone=f"'{zone}'", zones=(zone,))
    row = f"(select timestamp '{reading}' as \"~local t\")"
    sql = f"select {clock_change('t', options)}, {put_back('t', options)} from {row}"
    with duckdb.connect() as connection:
        connection.execute("set TimeZone = 'UTC'")
        assert connection.execute(sql).fetchall() == [(said, back)]


def test_two_zones_in_one_source_do_not_disturb_each_other() -> None:
    options = ParseOptions(
        zone="(case site when 'H' then 'Australia/Lord_Howe' else 'Europe/Lisbon' end)",
        zones=("Australia/Lord_Howe", "Europe/Lisbon"),
    )
    rows = "(values ('H', timestamp '2024-04-07 01:40'), ('L', timestamp '2024-04-07 01:40'), "
    rows += "('L', timestamp '2024-10-27 01:40'), ('H', timestamp '2024-10-27 01:40')) as r(site, \"~local t\")"
    with duckdb.connect() as connection:
        connection.execute("set TimeZone = 'UTC'")
        found = connection.execute(
            f"select {clock_change('t', options)}, {put_back('t', options)} from {rows}"
        ).fetchall()
    assert found == [("repeated", HALF), (None, None), ("repeated", HOUR), (None, None)]


# Zones whose clock was changed twice in 7, 7, 7, 12 and 21 days, the shortest times (IANA, 2025b), and an ordinary one.
ZONES = [
    "Asia/Gaza", "America/Boa_Vista", "America/Recife", "America/Argentina/Tucuman", "Africa/Cairo", "Europe/Lisbon",
]


@pytest.mark.parametrize("zone", some_slow(ZONES, 1))
def test_no_change_is_passed_over(zone: str) -> None:
    """The amounts and days are those of a look at every day."""
    here, day = ZoneInfo(zone), timedelta(days=1)
    moments = [datetime(1990, 1, 1, tzinfo=UTC) + n * day for n in range(25_933)]
    local = [moment.astimezone(here) for moment in moments]
    assert moments[-1] == datetime(2060, 12, 31, tzinfo=UTC)
    changed = [(a, b) for a, b in pairwise(local) if a.utcoffset() != b.utcoffset()]
    days = {a.date() + n * day for a, b in changed for n in range((b.date() - a.date()).days + 1)}
    assert change_days(zone) == tuple(sorted(days))
    back = {(a.utcoffset() - b.utcoffset()) // timedelta(minutes=1) for a, b in changed}
    assert minutes_put_back(zone) == tuple(sorted(minutes for minutes in back if minutes > 0))


def test_change_days_and_amounts() -> None:
    assert date(2024, 4, 7) in change_days("Australia/Lord_Howe")
    assert date(2024, 10, 6) in change_days("Australia/Lord_Howe")
    assert minutes_put_back("Europe/Lisbon") == (60,)
    assert minutes_put_back("Australia/Lord_Howe") == (30,)
    assert minutes_put_back("UTC") == ()
    assert list(change_days("Europe/Lisbon")) == sorted(change_days("Europe/Lisbon"))
    assert datetime(2024, 7, 1).date() not in change_days("Europe/Lisbon")
