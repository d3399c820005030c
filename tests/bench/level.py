"""How often a month's page tells a change of level, of a year's twelve pages: `python tests/bench/level.py`.

The generator is this file's own: a binomial share a month, months whose true share differs (a gamma factor), and a
share that is halved or doubled. Each page sees the 27 months (or those there are) up to its own. Printed are, where
nothing changes, the share of years with any page that tells a change; and where the share changes with the first of the
twelve months, on how many of the twelve pages it is told, the right way. ± is one standard error of the simulation.
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from rqa.stats import level_change

MONTHS = 27
NULL = ((0.09, 30, 0.0), (0.09, 100, 0.0), (0.09, 300, 0.0), (0.09, 800, 0.0), (0.03, 100, 0.0), (0.95, 3000, 0.0),
        (0.09, 100, 0.15), (0.09, 300, 0.15), (0.09, 800, 0.15), (0.09, 800, 0.2))
CHANGED = ((0.09, 100, 0.0), (0.11, 100, 0.0), (0.11, 300, 0.0), (0.11, 300, 0.15), (0.11, 50, 0.0))


def years(rng: np.random.Generator, number: int, share: float, jobs: int, spread: float, times: float, before: int):
    """So many years: the pages of each, as the change that each tells (0 none, -1 down, 1 up)."""
    months = before + 11
    shares = np.full((number, months), share)
    shares[:, before - 1 :] *= times
    if spread:
        shares *= rng.gamma(spread**-2, spread**2, size=shares.shape)
    size = np.maximum(rng.poisson(jobs, size=shares.shape), 1)
    count = rng.binomial(size, np.clip(shares, 0.0, 1.0))
    told = np.zeros((number, 12), dtype=int)
    for year in range(number):
        for page in range(12):
            seen = slice(max(0, page + before - MONTHS), page + before)
            found = level_change(count=count[year, seen], size=size[year, seen])
            told[year, page] = 0 if found.since is None else np.sign(found.difference)
    return told


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    for before in (MONTHS, 15):
        print(f"\n{before} months on the first page")
        for share, jobs, spread in NULL:
            any_told = (years(rng, args.years, share, jobs, spread, 1.0, before) != 0).any(axis=1)
            error = (any_told.mean() * (1 - any_told.mean()) / args.years) ** 0.5
            print(f"  no change, {share:.0%} of {jobs} a month, months vary by {spread:.0%}: "
                  f"{any_told.mean():6.1%} ± {error:.1%} of years")
        for share, jobs, spread in CHANGED:
            for times in (0.5, 2.0):
                told = years(rng, args.years // 2, share, jobs, spread, times, before)
                right = (told == np.sign(times - 1)).sum(axis=1)
                print(f"  {share:.0%} x {times:g}, {jobs} a month, months vary by {spread:.0%}: "
                      f"{right.mean():5.1f} ± {right.std() / (args.years // 2) ** 0.5:.1f} of 12 pages")


if __name__ == "__main__":
    main()
