from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.workspaces import Workspace

# The gate asks the same examples each time and of any machine; `--hypothesis-profile=wide` looks for new ones.
settings.register_profile("gate", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("wide", deadline=None, max_examples=500)
settings.load_profile("gate")


@pytest.fixture
def ws(tmp_path: Path) -> Workspace:
    """An empty workspace."""
    folder = tmp_path / "ws"
    folder.mkdir()
    return Workspace(folder)
