"""The names that become pseudonyms, looked up in all sources before any is loaded, to be found again in their texts.

Every name of every file counts, whether the file is read again or not: what is made of a text depends on them all.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from rqa.intake.faults import Faults
from rqa.intake.guard import patterns
from rqa.store.planned import Plan
from rqa.store.stage import Stager


def with_known_names(stager: Stager, items: Sequence[Plan]) -> list[Plan]:
    """The planned readings with the names that their texts are searched for.

    Each reading that makes pseudonyms is read once more. Where the names are others than at the last load, every file
    is another to it, and is read again.
    """
    faults = Faults()
    keyed = [i for i in items if i.entry.spec.key_files]
    for item in keyed:
        with faults.gathered(item.entry.place):
            stager.bind(item)
    faults.stop()
    known = patterns({name for item in keyed for name in stager.names_of(item)})
    keys = sorted({key for i in keyed for key in i.entry.spec.key_files})
    secret = b"".join(Path(key).expanduser().read_bytes() for key in keys)
    found = []
    for item in items:
        guard = replace(item.entry.guard, known=known)
        mark = guard.mark(item.fingerprint, secret)
        found.append(replace(item, entry=replace(item.entry, guard=guard), fingerprint=mark))
    return found
