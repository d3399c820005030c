"""Signs that steer a terminal or turn a line around are shown as marks; all other text is shown as it is."""

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from rqa.plots.renderer import compiled, still
from rqa.shown import KEPT, all_shown, shown

STEERING = {"Cc", "Cs", "Zl", "Zp"}
DIRECTIONS = {"LRE", "RLE", "PDF", "LRO", "RLO", "LRI", "RLI", "FSI", "PDI"}
"""Explicit directional formatting characters, Unicode Standard Annex 9, table 4 (bidirectional character types)."""


def steers(sign: str) -> bool:
    unseen = unicodedata.category(sign) in STEERING and sign not in KEPT
    return unseen or unicodedata.bidirectional(sign) in DIRECTIONS


def test_of_all_characters_those_that_steer_become_marks_and_nothing_else_changes() -> None:
    marks_of_direction = {"\u061c", "\u200e", "\u200f"}
    for code in range(0x110000):
        sign = chr(code)
        # The noncharacters, the byte-order mark and the annotation marks are no text either.
        no_text = code & 0xFFFE == 0xFFFE or 0xFDD0 <= code <= 0xFDEF or code == 0xFEFF or 0xFFF9 <= code <= 0xFFFB
        if steers(sign) or sign in marks_of_direction:
            assert shown(sign) != sign
            assert not any(map(steers, shown(sign)))
        elif not no_text:
            assert shown(sign) == sign


@given(st.text(st.characters(codec=None), max_size=40))
def test_a_picture_of_any_name_is_drawn(name: str) -> None:
    """The compiler would end the whole process at a control sign, so a failure here is no mere failed test."""
    spec = {
        "data": {"values": [{"a": name, "b": 1}]},
        "title": name,
        "mark": "bar",
        "encoding": {"x": {"field": "b", "type": "quantitative"}, "y": {"field": "a", "type": "nominal"}},
    }
    vega = compiled(spec)
    assert any(row["a"] == all_shown(name) for data in vega["data"] for row in data.get("values", []))
    assert "<svg" in still(spec)
