"""How many examples a property test asks for: its own number in the gate, more of them in a wider profile."""

from hypothesis import settings

USUAL = 100
"""What a test asks for that says nothing, in the gate."""


def examples(number: int) -> int:
    """The number for `max_examples` of a test that asks for `number` in the gate.

    A number in a test's own settings would hold in every profile, so that a wide search would be no wider there. The
    profile is loaded before the tests are imported.
    """
    return max(1, number * settings.default.max_examples // USUAL)
