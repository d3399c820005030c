"""Pictures kept beside a store: the same as drawn, and drawn once while the store stays what it is."""

from pathlib import Path

import pytest

import rqa
from rqa.plots.renderer import still
from rqa.review import kept_pictures
from tests.depots import make_store

SPEC = {
    "mark": "bar", "data": {"values": [{"a": "x “é” \U0001f600", "b": 3}]}, "description": "one bar",
    "encoding": {"y": {"field": "a", "type": "nominal"}, "x": {"field": "b", "type": "quantitative"}},
}


def test_a_picture_is_drawn_once_and_comes_back_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = make_store(tmp_path / "depot.duckdb", {"jobs": [{"job_id": "A"}]})
    drawn: list[object] = []
    monkeypatch.setattr(kept_pictures, "still", lambda spec: drawn.append(spec) or still(spec))
    for times in (1, 1, 2):
        with rqa.open(path) as depot:
            spec = SPEC if times == 1 else {**SPEC, "width": 50}
            assert kept_pictures.kept_pictures(depot)(spec) == still(spec)
        assert len(drawn) == times


def test_a_store_that_keeps_nothing_has_each_drawn(tmp_path: Path) -> None:
    path = make_store(tmp_path / "depot.duckdb", {"jobs": [{"job_id": "A"}]})
    with rqa.open(path) as depot:
        depot._store.forget()
        assert kept_pictures.kept_pictures(depot)(SPEC) == still(SPEC)
        assert list(tmp_path.iterdir()) == [path]
