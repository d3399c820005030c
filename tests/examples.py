"""How many examples a property test asks for: its own number where all are asked, a tenth in the gate."""

from hypothesis import settings

USUAL = 100
"""What a test asks for that says nothing, where all examples are asked."""
LEAST = 3
"""So many are asked in every profile, or all where a test has fewer."""


def examples(number: int) -> int:
    """The number for `max_examples` of a test that asks for `number` in the profile `whole`.

    A number in a test's own settings would hold in every profile, so that a wide search would be no wider there. The
    profile is loaded before the tests are imported.
    """
    return max(min(number, LEAST), number * settings.default.max_examples // USUAL)
