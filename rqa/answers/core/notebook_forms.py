"""What a notebook shows of frames, of lists of sentences and of findings: what a person reads, and no code."""

from collections.abc import Sequence
from typing import Any

from rqa.answers.core.finding import Finding
from rqa.answers.core.readable import plain_list, readable_frame


def show_readable() -> None:
    """Have this session show them so, where it is a notebook; calling it again changes nothing."""
    import polars as pl
    from IPython import get_ipython

    shell = get_ipython()
    if shell is None:
        return
    forms = shell.display_formatter.formatters["text/html"]
    forms.for_type(pl.DataFrame, readable_frame)
    for kind in (list, tuple):
        forms.for_type(kind, sentences)


def sentences(given: Sequence[Any]) -> str | None:
    """Sentences or findings as a list; None, which leaves them as they are, for anything else."""
    if given and all(isinstance(each, str | Finding) for each in given):
        return plain_list([_said(each) if isinstance(each, Finding) else each for each in given])
    return None


def _said(found: Finding) -> str:
    return f"{found.where[:1].upper()}{found.where[1:]}: {found.what}."
