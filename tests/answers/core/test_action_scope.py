"""A scope as text: what it names is read back, whatever the names are."""

from hypothesis import given
from hypothesis import strategies as st

from rqa.answers.core.action_scope import NAMED, read_scope, scope_of

names = st.text(alphabet="ab é;,=\"'=", min_size=1, max_size=8).map(str.strip).filter(bool)
filters = st.dictionaries(st.sampled_from(NAMED), st.lists(names, min_size=1, max_size=3).map(tuple), min_size=1)


@given(filters)
def test_what_a_scope_names_is_read_back_from_its_text(where: dict[str, tuple[str, ...]]) -> None:
    asked = scope_of(where)
    assert asked.where == where
    assert read_scope(str(asked)) == asked
