from pathlib import Path

import pytest

from tests.workspaces import Workspace


@pytest.fixture
def ws(tmp_path: Path) -> Workspace:
    """An empty workspace."""
    folder = tmp_path / "ws"
    folder.mkdir()
    return Workspace(folder)
