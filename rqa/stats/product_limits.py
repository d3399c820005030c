"""The two ways to set limits to a product of independent proportions. The last axis runs over the factors."""

import numpy as np
from scipy import special

from rqa.arguments import Counts, Numbers
from rqa.stats.proportion import estimate, lower_limit, upper_limit
from rqa.stats.roots import roots


def mover_limits(successes: Counts, trials: Counts, level: float, effect: Numbers) -> tuple[Numbers, Numbers]:
    """Wilson's distances of each factor, on the log scale, joined as a root of a sum of squares."""
    never = (successes == 0) & (trials > 0)
    # Factors never passed have no logarithm: they are set aside as 1 and brought back as a factor of their own.
    aside = never | (trials == 0)
    lower = lower_limit(successes, trials, "wilson", level)
    upper = upper_limit(successes, trials, "wilson", level)
    p, low, high = (np.log(np.where(aside, 1.0, ends)) for ends in (estimate(successes, trials), lower, upper))
    total = p.sum(axis=-1)
    below = np.exp(total - np.sqrt(effect * ((p - low) ** 2).sum(axis=-1)))
    # Rounding must not push a product of ones above 1.
    above = np.exp(np.minimum(total + np.sqrt(effect * ((high - p) ** 2).sum(axis=-1)), 0.0))
    ceiling = np.where(never, upper, 1.0).min(axis=-1)
    return np.where(never.any(axis=-1), 0.0, below), above * ceiling


def score_limits(successes: Counts, trials: Counts, level: float, effect: Numbers) -> tuple[Numbers, Numbers]:
    """The products that a score test would just not reject.

    Of all factors with a given product, the likeliest are p_i = (x_i - a) / (n_i - a) for one a below every x_i, and
    the score statistic there is a^2 sum (1 - p_i) / (n_i p_i). It grows with |a| on both sides of 0, so each limit is
    one root: a below 0 for the upper, a above 0 for the lower.
    """
    x, n = successes.astype(np.float64), np.where(trials == 0, 1, trials).astype(np.float64)
    failed = n - x
    z2 = float(special.ndtri((1.0 - level) / 2.0)) ** 2 * np.asarray(effect)
    of_row = z2.reshape(-1)

    flat = [each.reshape(-1, each.shape[-1]) for each in (x, n, failed)]

    def short(a: Numbers, which: Counts) -> Numbers:
        """Above 0 where the statistic is below z2; finite where the statistic is infinite."""
        statistic = _terms(a[..., np.newaxis], *(each[which] for each in flat)).sum(axis=-1)
        return np.asarray(of_row[which] / (of_row[which] + statistic) - 0.5)

    share = (failed / n).sum(axis=-1)
    pull = z2 / np.where(share == 0, 1.0, share)
    # At half this a the statistic is at least z2 but for rounding, since x_i - a is at most the largest x less a.
    far = pull + np.sqrt(pull * (pull + 4 * x.max(axis=-1)))
    up = roots(lambda a, which: short(-a, which), np.zeros_like(far), far)[..., np.newaxis]
    high = np.where(failed == 0, 1.0, (x + up) / (n + up)).prod(axis=-1)

    least = x.min(axis=-1)
    at_least = _terms(least[..., np.newaxis], x, n, failed).sum(axis=-1)
    down = roots(short, np.zeros_like(least), least)
    # Where a factor without a failure has the fewest trials, a may end at them: that factor alone then gives way.
    corner = (at_least < z2) & (least > 0)
    down = np.where(corner, least, down)
    left = z2 - np.where(corner, at_least, z2)
    gives_way = 1.0 / (1.0 + left / np.where(corner, least, 1.0))
    down = down[..., np.newaxis]
    others = np.where(failed == 0, 1.0, (x - down) / np.where(failed == 0, 1.0, n - down))
    low = np.where(least == 0, 0.0, others.prod(axis=-1) * gives_way)
    return low, high


def _terms(a: Numbers, x: Numbers, n: Numbers, failed: Numbers) -> Numbers:
    """a^2 (1 - p) / (n p) of each factor, which is a^2 failed / (n (x - a)): infinite once a has reached x."""
    reached = (failed > 0) & (a > 0) & (a >= x)
    term = a * a * failed / (n * np.where(a >= x, 1.0, x - a))
    return np.where(reached, np.inf, term)


LIMITS = {"mover": mover_limits, "score": score_limits}
