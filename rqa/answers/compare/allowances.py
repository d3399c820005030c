"""What a comparison allows for: a spread that is usual between groups, and checks of one job that go together."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rqa.answers.compare.expected_counts import Expected, GroupCounts
from rqa.answers.core.job_clusters import widened_ratio

if TYPE_CHECKING:
    from rqa.stats import Overdispersion

GROUPS_FOR_SPREAD = 10
"""Groups from which on their usual spread can be told from single ones that stand out."""


def enough_of(counted: GroupCounts, found: Expected, min_cases: int) -> NDArray[np.bool_]:
    """The groups with work enough; the only one that has a name is compared with nobody: the rest may be its own."""
    return np.asarray((found.exposures >= min_cases) & (counted.known > 1))


def spread_of(found: Expected, enough: NDArray[np.bool_]) -> "Overdispersion | None":
    """The groups' spread over chance's, where there are enough groups to tell it."""
    from rqa.stats import overdispersion

    seen = enough & (found.expected > 0) & (found.variance > 0)
    if int(seen.sum()) < GROUPS_FOR_SPREAD:
        return None
    return overdispersion(observed=found.observed[seen], expected=found.expected[seen], variance=found.variance[seen])


def usual_spread(dispersion: "Overdispersion | None", by_job: NDArray[np.float64]) -> float:
    """How many times as much groups vary as single checks would: as they do, and as checks of one job go together."""
    return max(1.0 if dispersion is None else dispersion.phi, float(by_job.min(initial=np.inf)) if by_job.size else 1.0)


def allowing_for(found: Expected, spread: float, by_job: NDArray[np.float64]) -> NDArray[np.float64]:
    """P-values that allow for the usual spread and for checks of one job that go together."""
    allowed = np.maximum(spread, by_job)
    widened = np.maximum(found.p_value, _two_sided(found.z / allowed**0.5))
    return np.where(allowed == 1.0, found.p_value, widened)


def ratio_of(
    found: Expected, by_job: NDArray[np.float64], level: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Observed over expected with its exact Poisson limits, wider where the checks of a job go together."""
    from rqa.stats import standardised_ratio

    ratio = standardised_ratio(observed=found.observed, expected=found.expected, level=level)
    low, high = widened_ratio(ratio.estimate, ratio.low, ratio.high, by_job)
    return np.asarray(ratio.estimate), low, high


def _two_sided(z: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy import special

    return np.asarray(2.0 * special.ndtr(-np.abs(z)), dtype=np.float64)
