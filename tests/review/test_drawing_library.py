"""The drawing library that is kept is the one the compiler makes, whatever becomes of the file it is kept in."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from rqa.review import drawing_library as module
from rqa.review.drawing_library import drawing_library, kept_at

LIBRARY = "window.vegaEmbed = vegaEmbed; // “stands for the library”\n"


@pytest.fixture
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """How often the library was put together, in a cache of its own; each call is as the first of a process."""
    times: list[str] = []
    monkeypatch.setattr(module, "kept_at", lambda: tmp_path / "rqa" / kept_at().name)
    monkeypatch.setattr(module, "put_together", lambda: times.append(LIBRARY) or LIBRARY)
    drawing_library.cache_clear()
    yield times
    drawing_library.cache_clear()


def again() -> str:
    drawing_library.cache_clear()
    return drawing_library()


def test_it_is_put_together_once(made: list[str]) -> None:
    assert [again() for _ in range(3)] == [LIBRARY] * 3
    assert len(made) == 1


@pytest.mark.parametrize("damage", [b"", b"//", LIBRARY.encode(), b"\xff\n\xff", b"0" * 64 + b"\n" + LIBRARY.encode()])
def test_a_file_that_was_changed_is_not_believed(made: list[str], damage: bytes) -> None:
    """What is read goes into a page as a script: cut short, written over or without its sum, it is made anew."""
    again()
    module.kept_at().write_bytes(damage)
    assert again() == LIBRARY
    assert again() == LIBRARY
    assert len(made) == 2


def test_a_place_where_nothing_can_be_written_is_no_loss(made: list[str], tmp_path: Path) -> None:
    (tmp_path / "rqa").write_text("a file where the folder would be")
    assert [again(), again()] == [LIBRARY] * 2
    assert len(made) == 2


def test_another_version_has_another_file(monkeypatch: pytest.MonkeyPatch) -> None:
    own = kept_at()
    monkeypatch.setattr(module, "grammar_version", lambda: "0.1")
    assert kept_at() != own
    assert kept_at().parent == own.parent


def test_it_is_what_the_compiler_makes() -> None:
    """Two calls give the same script, so that a kept one stands for both."""
    drawing_library.cache_clear()
    assert drawing_library() == module.put_together()
