"""The examples in docstrings that say `depot` ask the sample's store, opened once a session."""

from functools import cache
from typing import TYPE_CHECKING

import pytest

from tests.sample_store import SAMPLE, fresh_store

if TYPE_CHECKING:
    from rqa.depot import Depot


@cache
def sample() -> "Depot":
    """The sample's depot."""
    import rqa

    fresh_store()
    return rqa.open(SAMPLE)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Give an example its depot."""
    if isinstance(item, pytest.DoctestItem) and any("depot." in example.source for example in item.dtest.examples):
        item.dtest.globs["depot"] = sample()
