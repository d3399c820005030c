"""Numbers and nouns as they are said: right for none, one and several, and never a negative nothing."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rqa.plots.comebacks.costs import money
from rqa.plots.period_axes import LEAST_SPAN, ground
from rqa.review.improve.verdicts import points
from rqa.words import (
    counted,
    did_you_mean,
    duration,
    estimate,
    figure,
    fixed,
    interval,
    listed,
    nearest,
    percent,
    plural,
    signed,
    there_is,
)

NEGATIVE_NOTHING = re.compile(r"[-−]0(\.0*)?(?![\d.]*[1-9])")
SMALL = st.floats(-1e7, 1e7) | st.floats(-0.01, 0.01) | st.just(-0.0)


@given(SMALL, st.integers(0, 4))
def test_no_formatter_says_a_negative_nothing(value: float, decimals: int) -> None:
    said = [
        fixed(value, decimals), signed(value, decimals), percent(value, decimals=decimals), percent(value),
        interval(value, value + 0.1), points(value), money(value, "EUR"), figure(value, "share"),
    ]
    for text in said:
        assert not NEGATIVE_NOTHING.search(text), text
    assert figure(-0.0, "V") == "0\u00a0V"


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [(1, "jobs", "1 job"), (1.0, "failed checks a job", "1 failed check a job"), (2, "jobs", "2 jobs"),
     (1, "ms", "1 ms"), (1, "s", "1 s"), (1, "Celsius", "1 Celsius"), (1, "days", "1 day"),
     (1418, "days", "1,418 days"), (1, "siemens", "1 siemens"), (1, "lens", "1 lens"), (1e-7, "V", "0.0000001 V")],
)
def test_a_unit_that_is_counted_goes_with_its_number(value: float, unit: str, said: str) -> None:
    assert figure(value, unit) == said.replace(" ", "\u00a0", 1)


@given(st.floats(0, 1))
def test_a_share_has_one_decimal_and_reads_as_none_or_all_only_where_it_is(value: float) -> None:
    text = percent(value).removesuffix("\u00a0%")
    near = re.fullmatch(r"(under 0\.01|over 99\.99)", text)
    assert (text == "0") == (value == 0)
    assert (text == "100") == (value == 1)
    assert near or 0 < float(text) < 100 or value in (0, 1)
    assert bool(near) == (0 < value < 0.00005 or 0.99995 < value < 1)
    if 0.0005 <= value < 0.9995:
        assert re.fullmatch(r"\d+\.\d", text)
        assert float(text) == pytest.approx(100 * value, abs=0.05 + 1e-9)


def test_an_estimate_has_three_digits_wherever_it_is_said() -> None:
    assert [estimate(v) for v in (0.06824, -0.001075, 2.371, 576.2, 1071.4, 0.0, 999.6, -999.6, 1.2e-7)] == [
        "0.0682", "−0.00108", "2.37", "576", "1,071", "0", "1,000", "−1,000", "0.00000012",
    ]
    assert estimate(0.42954, "A") == "0.43\u00a0A"


@given(st.floats(-1e9, 1e9))
def test_no_figure_is_told_as_a_power_of_ten(value: float) -> None:
    for text in (estimate(value), figure(value, "")):
        assert "e" not in text
        assert float(text.replace(",", "").replace("−", "-")) == pytest.approx(value, rel=0.006)


@given(SMALL, st.integers(0, 6))
def test_a_number_says_its_value_and_its_sign(value: float, decimals: int) -> None:
    text = fixed(value, decimals).replace(",", "").replace("−", "-")
    assert float(text) == pytest.approx(value, abs=0.5000001 * 10**-decimals)
    if float(text):
        assert signed(value, decimals)[0] == ("+" if value > 0 else "−")


@given(st.integers(0, 10**9))
def test_one_is_one_and_all_else_several(number: int) -> None:
    word = counted(number, "file").split(" ")[1]
    assert word == ("file" if number == 1 else "files")
    assert plural(number, "has", "have") == ("has" if number == 1 else "have")


@pytest.mark.parametrize(("number", "said"), [(0, "0 files"), (1, "1 file"), (2, "2 files"), (1000, "1,000 files")])
def test_counts_with_their_nouns(number: int, said: str) -> None:
    assert counted(number, "file") == said


@given(st.floats(0, 10**6))
def test_a_duration_is_said_in_at_most_two_units(seconds: float) -> None:
    parts = duration(seconds).split(" ")
    assert parts[1::2] in (["s"], ["min"], ["min", "s"], ["h", "min"])
    scale = {"s": 1, "min": 60, "h": 3600}
    told = sum(int(n) * scale[unit] for n, unit in zip(parts[::2], parts[1::2], strict=True))
    assert told <= seconds < told + (60 if "h" in parts else 1)


@given(st.text(min_size=4, max_size=12))
def test_what_is_there_is_its_own_nearest(name: str) -> None:
    assert nearest(name, ["zzzzzzzz", name]) == name or name.casefold() == "zzzzzzzz"
    assert did_you_mean("q", []) == ""


@given(st.floats(0, 1), st.floats(0, 1))
def test_an_axis_of_shares_shows_a_range_that_is_no_hair(one: float, other: float) -> None:
    low, high = sorted((one, other))
    made = ground(["2026-01"], [low], [high], from_zero=False)
    assert made.top - made.floor >= LEAST_SPAN - 1e-9
    assert made.floor <= low + 1e-9
    assert made.top >= high - 1e-9


def test_names_that_hold_commas_can_be_told_apart() -> None:
    assert listed(["Lark, Ada", "Finch, Bo", "Wren"]) == "Lark, Ada; Finch, Bo and Wren"
    assert listed(["1,204 jobs", "3 units", "2 sites"]) == "1,204 jobs, 3 units and 2 sites"
    assert there_is("x", ["Lark, Ada", "Wren"]) == "There is: Lark, Ada; Wren."
