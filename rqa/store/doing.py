"""What a load reads at the moment, and under which limit: for whoever watches its process, to say where it failed."""

from collections.abc import Callable
from dataclasses import dataclass

from rqa.words import counted, listed


@dataclass(frozen=True)
class Doing:
    """A source that is being read for an entry of the mapping.

    `place` is the entry, `label` the source, `files` the files that it draws on, `computed` the places of the entry's
    own SQL, which must end within `seconds`.
    """

    place: str
    label: str
    files: tuple[str, ...]
    computed: tuple[str, ...]
    seconds: float

    @property
    def too_late(self) -> str:
        """What is said when that does not end in time."""
        return (
            f"{self.place}: its {self.own} did not end within "
            f"{counted(f'{self.seconds / 60:g}', 'minute')} over {self.label}, and was stopped. Make it simpler, or "
            "set sql_minutes in [workspace]. Nothing was loaded; the store is as it was."
        )

    @property
    def too_much(self) -> str:
        """What is said when that asks for too much memory, up to where the limit is named."""
        return f"{self.place}: its {self.own} asks for more memory at once than a load may take"

    @property
    def own(self) -> str:
        """What the entry computes of its own, and where it is written."""
        of_texts = [place.endswith(".replace") for place in self.computed]
        written = "replace" if all(of_texts) else "SQL or replace" if any(of_texts) else "SQL"
        return f"{written} ({listed(self.computed)})"


Tell = Callable[[Doing | None], None]
"""Is told what is done as it begins, and None when it has ended."""


def untold(doing: Doing | None) -> None:
    """Tell nobody."""
