"""Importing the pictures builds no grammar of addresses, and whoever checks an address gets one."""

import subprocess
import sys

import pytest

pytest.importorskip("rfc3987_syntax")

TRIAL = """
import sys
import rqa.plots
assert "altair" in sys.modules and "jsonschema" in sys.modules
assert "rfc3987_syntax" not in sys.modules
import jsonschema
checker = jsonschema.FormatChecker()
print([checker.conforms(text, "iri") for text in ("http://a.b/c", "http://a b/c")], "rfc3987_syntax" in sys.modules)
import rfc3987_syntax
print(rfc3987_syntax.is_valid_syntax("iri", "http://a.b/c"), rfc3987_syntax.__file__ is not None)
"""


def test_no_grammar_is_built_before_an_address_is_checked():
    """In a process of its own, as this one may have imported anything; the answers are those of the grammar itself."""
    done = subprocess.run([sys.executable, "-c", TRIAL], capture_output=True, text=True, check=True)
    assert done.stdout.split("\n")[:2] == ["[True, False] True", "True True"]
