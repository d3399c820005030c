"""Checks of the arguments that the pure functions of `rqa.stats` and `rqa.spc` take.

Every message says which argument, which rule it broke, and the value that broke it. It knows NumPy only, so that
both rooms run without the rest of the package.
"""

from collections.abc import Sequence
from numbers import Real
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Counts = NDArray[np.int64]
Numbers = NDArray[np.float64]
Kind = TypeVar("Kind", bound=np.generic)
Thing = TypeVar("Thing")

LARGEST_COUNT = 2**53
"""Above this a double no longer holds every whole number, so a ratio of counts would be of other counts."""
LARGEST_AMOUNT = 1e100
"""Above this, and below 1 over it, squares and cubes of an amount would have no double."""


def counts(name: str, given: ArrayLike) -> Counts:
    """Whole numbers from 0 up, as integers; floats that are whole are taken, missing values are not."""
    numbers = _numbers(name, given)
    _refuse(name, "must not be missing (NaN or null)", numbers, np.isnan(numbers))
    _refuse(name, "must be whole numbers", numbers, numbers != np.floor(numbers))
    _refuse(name, "must be at least 0", numbers, numbers < 0)
    _refuse(name, "must be at most 2**53", numbers, numbers > LARGEST_COUNT)
    return numbers.astype(np.int64)


def part_and_whole(part_name: str, part: ArrayLike, whole_name: str, whole: ArrayLike) -> tuple[Counts, Counts]:
    """Two arrays of counts of one shape, no part above its whole."""
    parts, wholes = same_shape({part_name: counts(part_name, part), whole_name: counts(whole_name, whole)})
    above = parts > wholes
    if above.any():
        place = _first(above)
        raise ValueError(
            f"{part_name} must not be above {whole_name}: {_at(part_name, place)} = {parts[place]}, "
            f"{_at(whole_name, place)} = {wholes[place]}{_others(above)}"
        )
    return parts, wholes


def amounts(name: str, given: ArrayLike) -> Numbers:
    """Finite numbers from 0 up, such as expected counts, as doubles."""
    numbers = _numbers(name, given)
    _refuse(name, "must not be missing (NaN or null)", numbers, np.isnan(numbers))
    _refuse(name, "must be finite", numbers, np.isinf(numbers))
    _refuse(name, "must be at least 0", numbers, numbers < 0)
    _refuse(name, "must be at most 1e100", numbers, numbers > LARGEST_AMOUNT)
    return numbers


def above_zero(name: str, given: ArrayLike) -> Numbers:
    """Finite numbers above 0, such as jobs done, as doubles."""
    numbers = amounts(name, given)
    _refuse(name, "must be above 0", numbers, numbers == 0)
    _refuse(name, "must be at least 1e-100", numbers, numbers < 1.0 / LARGEST_AMOUNT)
    return numbers


def measurements(name: str, given: ArrayLike) -> Numbers:
    """Numbers of any sign, as doubles; NaN is a value that was not taken, an infinite one is refused."""
    numbers = _numbers(name, given)
    _refuse(name, "must be finite, or NaN where nothing was measured", numbers, np.isinf(numbers))
    _refuse(name, "must be within -1e100 and 1e100", numbers, np.abs(numbers) > LARGEST_AMOUNT)
    return numbers


def ratios(name: str, given: ArrayLike) -> Numbers:
    """Numbers from 0 up, as doubles: NaN is a ratio that is not known, infinity one over nothing."""
    numbers = _numbers(name, given)
    _refuse(name, "must be at least 0", numbers, numbers < 0)
    return numbers


def shares(name: str, given: ArrayLike, *, missing: bool = False) -> Numbers:
    """Numbers from 0 to 1, both taken in, as doubles; a missing one is refused unless `missing` lets it through."""
    numbers = _numbers(name, given)
    if not missing:
        _refuse(name, "must not be missing (NaN or null)", numbers, np.isnan(numbers))
    _refuse(name, "must be between 0 and 1", numbers, (numbers < 0) | (numbers > 1))
    return numbers


def same_shape(arrays: dict[str, NDArray[Kind]]) -> tuple[NDArray[Kind], ...]:
    """The arrays brought to one shape: they must have it already, or be single numbers; each is a copy of its own."""
    shapes = {a.shape for a in arrays.values() if a.ndim}
    if len(shapes) > 1:
        found = ", ".join(f"{name} {a.shape}" for name, a in arrays.items())
        raise ValueError(f"{' and '.join(arrays)} must be of one shape, or single numbers: {found}")
    shape = shapes.pop() if shapes else ()
    return tuple(np.broadcast_to(a, shape).copy() for a in arrays.values())


def share(name: str, given: float) -> float:
    """One number strictly between 0 and 1, such as a confidence level."""
    if isinstance(given, bool) or not isinstance(given, Real) or not 0 < given < 1:
        raise ValueError(f"{name} must be one number between 0 and 1, both left out: {given!r}")
    return float(given)


def whole(name: str, given: int, minimum: int) -> int:
    """One whole number from `minimum` up, such as the size of a sample."""
    one = counts(name, given)
    if one.ndim or one < minimum:
        raise ValueError(f"{name} must be one whole number of at least {minimum}: {_short(given)}")
    return int(one)


def number(name: str, given: float, rule: str = "must be finite") -> float:
    """One finite number of any sign."""
    one = _numbers(name, given)
    if one.ndim:
        raise ValueError(f"{name} must be one number: {_short(given)}")
    if not np.isfinite(one):
        raise ValueError(f"{name} {rule}: {given!r}")
    _refuse(name, "must be within -1e100 and 1e100", one, np.abs(one) > LARGEST_AMOUNT)
    return float(one)


def amount(name: str, given: float, minimum: float = 0.0) -> float:
    """One finite number from `minimum` up."""
    rule = f"must be at least {minimum:g} and finite"
    one = number(name, given, rule)
    if one < minimum:
        raise ValueError(f"{name} {rule}: {given!r}")
    return one


def positive(name: str, given: float, rule: str = "must be above 0 and finite") -> float:
    """One finite number above 0."""
    one = number(name, given, rule)
    if not one > 0.0:
        raise ValueError(f"{name} {rule}: {given!r}")
    _refuse(name, "must be at least 1e-100", np.asarray(one), np.asarray(one < 1.0 / LARGEST_AMOUNT))
    return one


def instance(name: str, given: Thing, *kinds: type) -> Thing:
    """A thing of one of these types, such as an answer that another function gave."""
    if not isinstance(given, kinds):
        raise ValueError(f"{name} must be a {' or '.join(kind.__name__ for kind in kinds)}: {_short(given)}")
    return given


def design_effect(given: ArrayLike, shape: tuple[int, ...]) -> Numbers:
    """How many times as much shares of this shape vary as those of independent cases: one number or one each."""
    effect = above_zero("design_effect", given)
    _refuse("design_effect", "must be at least 1", effect, effect < 1.0)
    if effect.ndim and effect.shape != shape:
        raise ValueError(f"design_effect must be one number or of the counts' shape {shape}: {effect.shape}")
    return np.broadcast_to(effect, shape).copy()


def unmasked(name: str, given: object) -> None:
    """Refuse a masked array with masked entries, which would be taken as if nothing were masked."""
    if isinstance(given, np.ma.MaskedArray) and np.ma.getmaskarray(given).any():
        masked = np.asarray(np.ma.getmaskarray(given), dtype=np.bool_)
        raise ValueError(
            f"{name} must not hold masked entries; leave them out, or fill them: {_at(name, _first(masked))} is masked"
            f"{_others(masked)}"
        )


def labels(name: str, given: ArrayLike) -> NDArray[np.object_]:
    """Names of any one kind, one row, none missing: None and NaN are no name, and would be taken as alike."""
    unmasked(name, given)
    names = np.empty(0, dtype=np.object_)
    if not isinstance(given, str) and np.ndim(given) == 1:
        names = np.asarray(given, dtype=np.object_)
    elif np.size(given):
        raise ValueError(f"{name} must be one row of names: {_short(given)}")
    missing = np.array([one is None or one != one for one in names], dtype=np.bool_)
    if missing.any():
        raise ValueError(f"{name} must not be missing: {_at(name, _first(missing))}{_others(missing)}")
    return names


def countable(total: NDArray[np.int64], *names: str) -> None:
    """Refuse counts that together are above the largest count."""
    if (np.asarray(total) > LARGEST_COUNT).any():
        raise ValueError(f"{' and '.join(names)} must add up to at most 2**53")


def one_of(name: str, given: str, allowed: Sequence[str]) -> str:
    """A word out of a closed list."""
    if not isinstance(given, str) or given not in allowed:
        raise ValueError(f"{name} must be one of {', '.join(allowed)}: {given!r}")
    return given


def frozen(array: ArrayLike) -> Numbers:
    """The array as read-only doubles, for a result that nobody should change in passing."""
    kept = np.array(array, dtype=np.float64)
    kept.setflags(write=False)
    return kept


def frozen_counts(array: Counts) -> Counts:
    """The counts as read-only integers."""
    kept = np.array(array, dtype=np.int64)
    kept.setflags(write=False)
    return kept


def _numbers(name: str, given: ArrayLike) -> Numbers:
    unmasked(name, given)
    if given is None:
        raise ValueError(f"{name} must not be missing: it is None")
    try:
        array = np.asarray(given)
    except ValueError as cause:
        raise ValueError(f"{name} must be a number or an array of numbers, rows of one length: {given!r}") from cause
    text = array.dtype.kind == "O" and any(isinstance(value, str | bool | np.bool_) for value in array.flat)
    if text or array.dtype.kind not in "iufO":
        raise ValueError(f"{name} must be numbers, not {array.dtype}: {_short(given)}")
    try:
        return array.astype(np.float64)
    except (TypeError, ValueError) as cause:
        raise ValueError(f"{name} must be numbers, none missing: {_short(given)}") from cause


def _refuse(name: str, rule: str, numbers: Numbers, broken: NDArray[np.bool_]) -> None:
    if broken.any():
        place = _first(broken)
        raise ValueError(f"{name} {rule}: {_at(name, place)} = {numbers[place]:.17g}{_others(broken)}")


def _first(broken: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(i) for i in np.unravel_index(int(np.argmax(broken)), broken.shape))


def _at(name: str, place: tuple[int, ...]) -> str:
    return f"{name}[{', '.join(map(str, place))}]" if place else name


def _others(broken: NDArray[np.bool_]) -> str:
    more = int(broken.sum()) - 1
    return f" (and {more} more)" if more else ""


def _short(given: object) -> str:
    text = " ".join(repr(given).split())
    return text if len(text) <= 80 else f"{text[:77]}..."
