"""The selectors of a panel as ipywidgets, beside the charts that they draw."""

from typing import TYPE_CHECKING, Any

import ipywidgets

from rqa.errors import RqaError
from rqa.plots.renderer import LOOK
from rqa.shown import one_line

if TYPE_CHECKING:
    from rqa.control_panel import Panel

EVERY = ""
"""The value of a selector that chooses all; none at all would show nothing."""
TEXTS = {
    "site": "Site", "model": "Model", "procedure": "Procedure", "window": "Window", "first": "From", "last": "To",
}


class Widgets:
    """A box with a selector for each choice, a line that says what is shown, and a place for each chart."""

    def __init__(self, panel: "Panel") -> None:
        self._panel = panel
        limits, months = panel.limits, panel.options("months")
        first, last = panel.ends()
        self.selectors: dict[str, Any] = {
            **{name: _dropdown(name, panel.options(name), limits.get(name)) for name in panel.names},
            "window": _dropdown("window", panel.options("window"), limits.get("window") or panel.window),
            "first": _dropdown("first", months, first), "last": _dropdown("last", months, last),
        }
        self._all = (months[0][1], months[-1][1])
        self.said = ipywidgets.Label()
        self.charts = [ipywidgets.Output() for _ in panel.charts]
        grid = ipywidgets.Layout(grid_template_columns="repeat(auto-fit, minmax(46rem, 1fr))", grid_gap="1rem")
        row = ipywidgets.Layout(flex_flow="row wrap")
        self.box = ipywidgets.VBox([
            ipywidgets.HBox(list(self.selectors.values()), layout=row), self.said,
            ipywidgets.GridBox(self.charts, layout=grid),
        ])
        for selector in self.selectors.values():
            selector.observe(self._moved, names="value")
        self.show()

    def _moved(self, _: object) -> None:
        """Ask with what is chosen; a choice that cannot be asked is said, and the charts stay as they were."""
        chosen = {name: None if each.value == EVERY else each.value for name, each in self.selectors.items()}
        first, last = chosen.pop("first"), chosen.pop("last")
        months = None if (first, last) == self._all else (first, last)
        try:
            self._panel.choose(**chosen, months=months)
        except RqaError as error:
            self.said.value = one_line(str(error))
        else:
            self.show()

    def show(self) -> None:
        """Draw the charts for what is chosen."""
        self.said.value = "Drawing …"
        for place, bundle in zip(self.charts, self._panel.bundles(still=False), strict=True):
            place.outputs = ({"output_type": "display_data", "data": bundle, "metadata": LOOK},)
        self.said.value = one_line(self._panel.said)


def _dropdown(name: str, options: list[tuple[str, Any]], value: Any) -> Any:
    return ipywidgets.Dropdown(
        options=[(one_line(text), EVERY if each is None else each) for text, each in options],
        value=EVERY if value is None else value, description=TEXTS[name],
        layout=ipywidgets.Layout(width="16rem"), style={"description_width": "5rem"},
    )
