"""The published values on rules and run lengths, as the tests read them."""

import tomllib
from pathlib import Path

RUNS = tomllib.loads((Path(__file__).parents[1] / "shared" / "run_lengths.toml").read_text("utf-8"))


def half(decimals):
    """Half a unit of the last printed digit, and a rounding error for sums that lie just there."""
    return 0.5 * 10.0**-decimals + 1e-9
