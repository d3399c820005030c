"""Charts in notebooks: compiled Vega that the bundled viewer draws offline, a still picture, and a text.

The stock renderers leave a saved, untrusted notebook blank when there is no network. Compiling here also keeps the
grammar's own version, whatever version the viewer carries. The compiler ends the whole process at a text with control
signs, so these are made visible first.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from importlib.resources import files
from typing import Any

from rqa.errors import RqaError
from rqa.shown import all_shown, one_line, shown

VEGA = "application/vnd.vega.v5+json"
SCHEMA = "https://vega.github.io/schema/vega/v5.json"
LONGEST_CELL = 600
"""Signs of a text that a table shows; a sentence is not cut."""


def viewer_style() -> str:
    """The look of what the viewer puts over and beside a chart: tooltips, choices, the menu."""
    text = (files("rqa.plots") / "viewer.css").read_text(encoding="utf-8")
    return " ".join(re.sub(r"/\*.*?\*/", "", text, flags=re.S).split())


VIEWER = {
    "actions": {"export": {"svg": True, "png": True}, "source": False, "compiled": False, "editor": False},
    "i18n": {"SVG_ACTION": "Save as SVG", "PNG_ACTION": "Save as PNG", "CLICK_TO_VIEW_ACTIONS": "Save the picture"},
    "downloadFileName": "chart",
    "tooltip": {"theme": "rqa"},
}
"""What the viewer offers beside a chart: to save it, and nothing that leads out of the notebook."""
LOOK: dict[str, Any] = {VEGA: {"embed_options": {"defaultStyle": viewer_style()}}}
"""The look of that, as the metadata of a chart's output: the viewer takes no look from the chart itself."""
PANIC = "PanicException"
"""The class of a panic of a library written in Rust: a BaseException that cannot be imported."""


@cache
def grammar_version() -> str:
    """The newest version of the chart grammar that the compiler knows and that is not newer than Altair's."""
    import altair as alt
    import vl_convert

    def numbers(text: str) -> tuple[int, ...]:
        return tuple(int(part) for part in text.lstrip("v").split(".")[:2])

    fit = [v for v in vl_convert.get_vegalite_versions() if numbers(v) <= numbers(alt.SCHEMA_VERSION)]
    return str(max(fit, key=numbers))


def compiled(spec: dict[str, Any]) -> dict[str, Any]:
    """A chart's specification as Vega; raises `RqaError` with the picture's name where it cannot be compiled."""
    import vl_convert

    with _told_of(spec):
        vega: dict[str, Any] = vl_convert.vegalite_to_vega(all_shown(spec), vl_version=grammar_version())
    return vega | {"$schema": SCHEMA}


def still(spec: dict[str, Any]) -> str:
    """A chart's specification as an SVG picture that refers to nothing outside itself.

    Raises `RqaError` with the picture's name where it cannot be drawn.
    """
    with _told_of(spec):
        try:
            return _svg(all_shown(spec))
        except ValueError:
            # A label that is cut within a sign of two halves cannot be measured; such signs are not drawn then.
            return _svg(_of_one_half(all_shown(spec)))


@contextmanager
def _told_of(spec: dict[str, Any]) -> Iterator[None]:
    """What the drawing library dislikes, as an error that names the picture; a panic, too, which is no Exception."""
    try:
        yield
    except BaseException as error:
        if not isinstance(error, ValueError | RuntimeError) and type(error).__name__ != PANIC:
            raise
        why = shown(str(error)).strip().splitlines() or ["it said nothing"]
        raise RqaError(
            f"the picture “{_name_of(spec)}” cannot be drawn: {' '.join(why[:2])} Its figures stand in the answer's "
            ".table; please report it."
        ) from error


def _name_of(spec: dict[str, Any]) -> str:
    title = spec.get("title") or spec.get("description") or "without a title"
    text = title.get("text", "") if isinstance(title, dict) else title
    return one_line(" ".join(map(str, text)) if isinstance(text, list) else str(text))


def _svg(spec: dict[str, Any]) -> str:
    import vl_convert

    return str(vl_convert.vegalite_to_svg(spec, vl_version=grammar_version(), allowed_base_urls=[]))


def _of_one_half(value: Any) -> Any:
    """The specification with every sign outside of the basic plane replaced, which a script holds as two halves."""
    if isinstance(value, str):
        return re.sub("[\U00010000-\U0010ffff]", "\ufffd", value)
    if isinstance(value, dict):
        return {_of_one_half(k): _of_one_half(v) for k, v in value.items()}
    return [_of_one_half(v) for v in value] if isinstance(value, list) else value


def render(spec: dict[str, Any], *, picture: bool = True, **_: Any) -> dict[str, Any]:
    """What a notebook keeps of a chart, best first; without the still picture where it is drawn but not kept."""
    return {
        VEGA: compiled(spec) | {"usermeta": {"embedOptions": VIEWER}},
        **({"image/svg+xml": still(spec)} if picture else {}),
        "text/plain": shown(str(spec.get("description", "chart"))),
    }


def rendered(spec: dict[str, Any], **how: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """What a notebook keeps of a chart, and with what look its viewer shows it."""
    return render(spec, **how), LOOK


def enable() -> None:
    """Make this session's charts and tables come out as the notebooks show them; calling it again changes nothing."""
    import altair as alt
    import polars as pl

    from rqa.answers.core.notebook_forms import show_readable

    show_readable()
    alt.renderers.register("rqa", rendered)
    alt.renderers.enable("rqa")
    pl.Config.set_tbl_hide_dataframe_shape(True)
    pl.Config.set_tbl_hide_column_data_types(True)
    pl.Config.set_tbl_rows(40)
    pl.Config.set_tbl_cols(16)
    pl.Config.set_tbl_width_chars(160)
    pl.Config.set_fmt_str_lengths(LONGEST_CELL)
