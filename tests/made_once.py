"""What is dear to make and read by tests of several files: made once in a run, for all workers.

Whoever changes what is on the shelf takes a copy of it; the others find it as it was made.
"""

import os
import pickle
import shutil
from collections.abc import Callable
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

import pytest

from rqa.store.lock import writing

WAIT_SECONDS = 600
Made = TypeVar("Made")


def _fixed(held: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(held)


class _Pickler(pickle.Pickler):
    """Knows the mappings that cannot be changed, too."""

    def reducer_override(self, given: Any) -> Any:
        return (_fixed, (dict(given),)) if isinstance(given, MappingProxyType) else NotImplemented


class Shelf:
    """A folder that all workers of a run share; whoever asks for a thing first makes it, under a lock."""

    def __init__(self, factory: pytest.TempPathFactory) -> None:
        own = factory.getbasetemp()
        # Workers have a folder each, within that of the run.
        self.place = (own.parent if os.environ.get("PYTEST_XDIST_WORKER") else own) / "made_once"
        self.place.mkdir(exist_ok=True)

    def folder(self, name: str, make: Callable[[Path], object]) -> Path:
        """A folder that `make` has filled; to be read alone."""
        there, begun = self.place / name, self.place / f"{name}.begun"
        with writing(self.place / name, wait=WAIT_SECONDS):
            if not there.exists():
                shutil.rmtree(begun, ignore_errors=True)
                begun.mkdir()
                make(begun)
                begun.rename(there)
        return there

    def thing(self, name: str, make: Callable[[], Made]) -> Made:
        """What `make` gives, as a copy of one's own."""

        def kept(folder: Path) -> None:
            with (folder / "thing").open("wb") as file:
                _Pickler(file).dump(make())

        found: Made = pickle.loads((self.folder(name, kept) / "thing").read_bytes())
        return found

    def demo(self, jobs: int) -> Path:
        """A plain demo depot of so many jobs, loaded; to be read alone."""

        def loaded(folder: Path) -> None:
            import rqa
            from rqa.demo import write

            write(folder, jobs=jobs, plain=True)
            rqa.load(folder)

        return self.folder(f"demo {jobs}", loaded)

    def workshop(self) -> Path:
        """The healthy workshop of `tests/odd_depots`, loaded; to be read alone."""

        def loaded(folder: Path) -> None:
            import rqa
            from tests.odd_depots.depots import write_workspace

            rqa.load(write_workspace("healthy", folder))

        return self.folder("workshop", loaded)

    def sample(self) -> tuple[Path, Any]:
        """The sample's files, loaded, with the report of that load; to be read alone."""

        def loaded(folder: Path) -> None:
            import rqa

            root = Path(__file__).resolve().parents[1] / "sample_data"
            shutil.copytree(root, folder / "ws", ignore=shutil.ignore_patterns("*.duckdb*", "page"))
            (folder / "report").write_bytes(pickle.dumps(rqa.load(folder / "ws")))

        there = self.folder("sample", loaded)
        return there / "ws", pickle.loads((there / "report").read_bytes())
