"""Faults met while a load is made ready: gathered, so that one round tells them all."""

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from rqa.errors import MappingError, SourceError
from rqa.intake.mapping import MAPPING_FILE
from rqa.words import counted

ALIKE = 3
"""Files of one set that are named, where they do not fit the mapping; of the others it is told how many there are."""
ENDING = " Nothing was loaded."


class Faults:
    """The faults of one load: those of the mapping alone first, then what else is met."""

    def __init__(self, of_mapping: Sequence[str] = ()) -> None:
        self.said = list(of_mapping)
        self.errors: list[MappingError | SourceError] = []
        self.alike: Counter[str] = Counter()

    @contextmanager
    def gathered(self, place: str = "") -> Iterator[None]:
        """Take in an error raised within; of those at one `place` that it names, only the first few word by word."""
        try:
            yield
        except (MappingError, SourceError) as error:
            self.errors.append(error)
            self.alike[place] += 1
            if place and self.alike[place] > ALIKE:
                return
            faults = error.faults if isinstance(error, MappingError) else (str(error),)
            for fault in faults:
                said = fault.removeprefix(f"{MAPPING_FILE}, ").removesuffix(ENDING)
                self.said += [said] if said not in self.said else []

    def stop(self) -> None:
        """Raise all there are in one error; nothing happens when there is none."""
        if not self.said:
            return
        if len(self.said) == 1 and self.errors:
            raise self.errors[0]
        more = [
            f"{p}: {counted(n - ALIKE, 'more file does', 'more files do')} not fit either"
            for p, n in self.alike.items()
            if p and n > ALIKE
        ]
        if self.errors and all(isinstance(e, SourceError) for e in self.errors) and len(self.said) == len(self.errors):
            lines = [line.replace("\n", "\n    ") for line in [*self.said, *more]]
            raise SourceError(
                "\n".join([f"{counted(len(self.said), 'file')} cannot be read:", *(f"  - {x}" for x in lines)])
            )
        raise MappingError.of([*self.said, *more], MAPPING_FILE)
