import os
import re
import signal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.made_once import Shelf
from tests.workspaces import Workspace

# The gate asks a tenth of the examples, the same each time and of any machine; `.ci/run` asks all of them as well, by
# `--hypothesis-profile=whole`. `--hypothesis-profile=wide` looks for new ones.
same_each_time = settings(derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("gate", same_each_time, max_examples=10)
settings.register_profile("whole", same_each_time, max_examples=100)
settings.register_profile("wide", deadline=None, max_examples=500)
settings.load_profile("gate")

ROOT = Path(__file__).resolve().parents[1]
FAST = ("tests/stats", "tests/spc", "tests/words")
"""Rooms of pure functions, whose tests make no store and draw nothing: they are marked `fast`."""
LONG_FIRST = ("tests/odd_depots", "tests/review", "tests/measures", "tests/notebooks", "tests/cli")
"""Rooms with files that take half a minute and more: pages, all questions, whole commands."""
SIMULATED = re.compile("promise|often|cover")
"""Words for what is held against thousands of simulated depots, which takes a quarter of these rooms' time."""
MOST_WORKERS = 8
"""Each may take a gigabyte."""


def _room(path: Path) -> str:
    return "/".join(path.relative_to(ROOT).parts[:2]) if path.is_relative_to(ROOT) else ""


def _takes_long(path: Path) -> bool:
    return _room(path) in LONG_FIRST or path.suffix == ".ipynb"


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Side by side on all processors; a single file goes without, since workers take seconds to begin."""
    given = config.option.file_or_dir
    if given and all(Path(name.partition("::")[0]).is_file() for name in given):
        return 0
    return min(MOST_WORKERS, os.cpu_count() or 1)


def pytest_configure() -> None:
    """Have signals mean what they do elsewhere, where a shell or `nohup` has what it runs ignore them."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if signal.getsignal(signal.SIGHUP) is signal.SIG_IGN:
        signal.signal(signal.SIGHUP, signal.SIG_DFL)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Asked for what is fast alone, nothing else is even imported."""
    rooms = [ROOT / room for room in FAST]
    apart = not any(collection_path.is_relative_to(room) or room.is_relative_to(collection_path) for room in rooms)
    return True if apart and config.option.markexpr == "fast" else None


def pytest_itemcollected(item: pytest.Item) -> None:
    """Marks what is fast."""
    apart = any(item.get_closest_marker(name) for name in ("long", "slow"))
    if _room(item.path) in FAST and not SIMULATED.search(item.name) and not apart:
        item.add_marker("fast")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files that take long come first and what is fast last, so that workers end together."""
    items.sort(key=lambda item: (item.get_closest_marker("fast") is not None, not _takes_long(item.path)))


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    """What several files read and none changes."""
    return Shelf(tmp_path_factory)


@pytest.fixture
def ws(tmp_path: Path) -> Workspace:
    """An empty workspace."""
    folder = tmp_path / "ws"
    folder.mkdir()
    return Workspace(folder)
