"""The invented depot: `write` makes a workspace of it, from one seed, at any size."""

from rqa.demo.workspace import write

__all__ = ["write"]
