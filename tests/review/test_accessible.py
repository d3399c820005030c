"""The page for readers who see little, no colour, or nothing: structure, text alternatives, and contrast as computed.

Contrast after the Web Content Accessibility Guidelines 2.2, 1.4.3 (text 4.5 to 1) and 1.4.11 (marks 3 to 1).
"""

import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from importlib.resources import files

import numpy as np
import pytest

from rqa.plots import theme
from rqa.review import render
from rqa.review.facts import MonthFacts

TEXT, MARKS = 4.5, 3.0
VOID = {"meta", "img", "br", "hr", "input", "link"}
CSS = (files("rqa.review") / "page.css").read_text(encoding="utf-8")


@dataclass
class Element:
    """An element with what stands in it."""

    tag: str
    attrs: dict[str, str]
    children: list["Element"] = field(default_factory=list)
    own_text: str = ""

    def all(self, *tags: str) -> Iterator["Element"]:
        """Elements of these tags (all without any) below this one, in order."""
        for child in self.children:
            if not tags or child.tag in tags:
                yield child
            yield from child.all(*tags)

    @property
    def text(self) -> str:
        return " ".join(f"{self.own_text} {' '.join(c.text for c in self.children)}".split())


class Tree(HTMLParser):
    """The page as a tree; every element must be closed where it was opened."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("", {})
        self.path = [self.root]
        self.feed(text)
        assert len(self.path) == 1, [e.tag for e in self.path]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {k: v or "" for k, v in attrs})
        self.path[-1].children.append(element)
        if tag not in VOID:
            self.path.append(element)

    def handle_endtag(self, tag: str) -> None:
        assert self.path[-1].tag == tag, (tag, self.path[-1].tag)
        self.path.pop()

    def handle_data(self, data: str) -> None:
        self.path[-1].own_text += data


@pytest.fixture(scope="module")
def page(hostile_facts: MonthFacts) -> Element:
    return Tree(render(hostile_facts)).root


def test_language_and_title(page: Element) -> None:
    (html,) = page.all("html")
    assert html.attrs["lang"] == "en"
    (title,) = page.all("title")
    assert re.search(r"\w+ 20\d\d", title.text)
    # A reader may enlarge the page.
    (viewport,) = [m.attrs["content"] for m in page.all("meta") if m.attrs.get("name") == "viewport"]
    assert "maximum-scale" not in viewport
    assert "user-scalable" not in viewport


def test_headings_are_in_order_and_say_something(page: Element) -> None:
    headings = list(page.all("h1", "h2", "h3", "h4", "h5", "h6"))
    levels = [int(h.tag[1]) for h in headings]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert all(h.text for h in headings)
    within = [h.text for h in headings if h.tag == "h2"]
    assert len(set(within)) == len(within)


def test_landmarks_ids_and_names(page: Element) -> None:
    ids = [e.attrs["id"] for e in page.all() if "id" in e.attrs]
    assert len(set(ids)) == len(ids)
    for element in page.all():
        for name in ("aria-labelledby", "aria-describedby"):
            assert all(i in ids for i in element.attrs.get(name, "").split())
        assert int(element.attrs.get("tabindex", "0")) == 0
    for section in page.all("section", "nav"):
        assert section.attrs.get("aria-labelledby") or section.attrs.get("aria-label")
    assert all(a.text and a.attrs["href"][1:] in ids for a in page.all("a"))
    assert all(d.children[0].tag == "summary" and d.children[0].text for d in page.all("details"))


def test_every_picture_is_said_in_words(page: Element) -> None:
    figures = list(page.all("figure"))
    assert figures
    for figure in figures:
        (caption,) = figure.all("figcaption")
        assert caption.text
        (picture,) = figure.all("img")
        assert len(picture.attrs["alt"]) > 60
        assert list(figure.all("table")), "the numbers behind the picture"
    pictures = list(page.all("img"))
    assert len(pictures) == len(figures) + 4, "and the four of the sheet"
    assert all(len(p.attrs["alt"]) > 60 for p in pictures)
    assert len({p.attrs["alt"] for p in pictures}) == len(pictures)
    # A drawn picture takes its words from its description; one standing in the page itself would need its own.
    assert not list(page.all("svg", "canvas"))


def test_tables_have_captions_and_header_cells(page: Element) -> None:
    tables = list(page.all("table"))
    assert tables
    for table in tables:
        (caption,) = table.all("caption")
        assert caption.text
        (head,) = table.all("thead")
        (body,) = table.all("tbody")
        heads = list(head.all("th"))
        assert all(h.attrs["scope"] == "col" and h.text for h in heads)
        for row in body.all("tr"):
            cells = [c for c in row.children if c.tag in ("th", "td")]
            assert len(cells) == len(heads)
            assert (cells[0].tag, cells[0].attrs.get("scope")) == ("th", "row")


def test_what_scrolls_can_be_reached_by_key(page: Element) -> None:
    scrolling = [e for e in page.all("div") if "wide" in e.attrs.get("class", "").split()]
    assert len(scrolling) == len(list(page.all("table")))
    for region in scrolling:
        assert (region.attrs["tabindex"], region.attrs["role"]) == ("0", "region")
        assert region.attrs["aria-label"]
    assert ":focus-visible" in CSS


def test_better_and_worse_are_words(page: Element) -> None:
    """Colour and sign only repeat them."""
    verdicts = [e.text for e in page.all("dd") if "word" in e.attrs.get("class", "").split()]
    assert verdicts
    assert all(re.search(r"better|worse|no clear change|no earlier month|cannot be told", v) for v in verdicts)


def colour(text: str) -> np.ndarray:
    return np.array([int(text[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def luminance(rgb: np.ndarray) -> float:
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def palettes() -> dict[str, dict[str, np.ndarray]]:
    light, dark = re.findall(r":root \{(.*?)\}", CSS)
    found = {}
    for name, body in (("light", light), ("dark", dark)):
        found[name] = {k: colour(v) for k, v in re.findall(r"--(\w+): (#[0-9a-f]{6})", body)}
    return found


def in_the_dark(rgb: np.ndarray) -> np.ndarray:
    """A chart's colour after the filter that the style sheet puts on pictures: inverted, then its hue turned."""
    (amount, degrees) = re.findall(r"filter: invert\(([\d.]+)\) hue-rotate\((\d+)deg\)", CSS)[0]
    turned = np.clip(rgb * (1 - 2 * float(amount)) + float(amount), 0, 1)
    c, s = math.cos(math.radians(float(degrees))), math.sin(math.radians(float(degrees)))
    # The matrix of hue-rotate in W3C Filter Effects Module Level 1, 9.6.
    matrix = (
        np.array([[0.213, 0.715, 0.072]] * 3)
        + c * np.array([[0.787, -0.715, -0.072], [-0.213, 0.285, -0.072], [-0.213, -0.715, 0.928]])
        + s * np.array([[-0.213, -0.715, 0.928], [0.143, 0.140, -0.283], [-0.787, 0.715, 0.072]])
    )
    return np.clip(matrix @ turned, 0, 1)


def test_contrast_is_computed_right() -> None:
    """Black on white is 21 to 1, and #767676 the lightest grey that passes for text on white (WCAG 2.2)."""
    white = colour("#ffffff")
    assert contrast(colour("#000000"), white) == pytest.approx(21)
    assert contrast(colour("#767676"), white) > TEXT > contrast(colour("#777777"), white)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_s_text_stands_out(scheme: str) -> None:
    palette = palettes()[scheme]
    for name in ("ink", "quiet", "loud"):
        assert contrast(palette[name], palette["paper"]) >= TEXT, name


def test_the_page_has_no_colour_beside_its_palette() -> None:
    """So that the palette's contrast is that of the page."""
    rest = re.sub(r":root \{.*?\}", "", CSS)
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b|rgb|hsl|opacity", rest)
    used = set(re.findall(r"(?<![-\w])color: (?:var\()?([-\w]+)", rest))
    assert used <= {"--ink", "--quiet", "--loud", "inherit"}
    declared = set(re.findall(r"--(\w+):", CSS))
    assert declared == set(re.findall(r"var\(--(\w+)\)", CSS))


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_charts_words_and_marks_stand_out(dark: bool) -> None:
    def seen(name: str) -> np.ndarray:
        return in_the_dark(colour(name)) if dark else colour(name)

    for name in ("INK", "QUIET", "SIGNAL"):
        for ground in ("PAPER", "BAND"):
            assert contrast(seen(getattr(theme, name)), seen(getattr(theme, ground))) >= TEXT, (name, ground)
    # Size bars are drawn in the quiet ink, let through.
    share = float(str(theme.CONFIG["style"]["rqa-size"]["opacity"]))
    bar = colour(theme.QUIET) * share + colour(theme.PAPER) * (1 - share)
    bar = in_the_dark(bar) if dark else bar
    assert contrast(bar, seen(theme.PAPER)) >= MARKS
