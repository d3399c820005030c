"""The page in a real browser: it asks the network for nothing, draws, fits, prints, and passes an accessibility check.

Skipped where there is no browser (see `rqa.review.printed`); the accessibility check also where axe-core (a test tool
of its own licence, which the gate on CI fetches) is not in .cache/.
"""

import base64
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rqa.plots import plot
from rqa.plots.charts.small_control import LETTERS
from rqa.review import render
from rqa.review.facts import CasesListed, MonthFacts, PageTable
from rqa.review.printed import browser, write_pdf
from tests.plots.steps.test_step_pictures import step_map
from tests.review.browser import Tab, opened

HERE = Path(__file__).parent
MEASURED = (HERE / "measured.js").read_text(encoding="utf-8")
AXE = HERE.parents[1] / ".cache" / "package" / "axe.min.js"
FIGURES = "document.querySelectorAll('figure').length"
OPENED = "document.querySelectorAll('details.part').forEach(part => { part.open = true; })"
FITTED = (
    "dispatchEvent(new Event('resize')), [...document.querySelectorAll('.live')].every(p => Math.abs(p.clientWidth - "
    "p.querySelector('svg').getBoundingClientRect().width) < 3)"
)
"""Charts have taken the width they were given. They measure it when the window changes, and none may be seen then: as
printed they are hidden, and the browser may tell of the size before it shows them again. So it is told again."""
A4 = 688
"""Width of a sheet less its margins, 182 mm, in CSS pixels."""
ROOM = "document.documentElement.clientWidth"
"""The width there is, less a bar to scroll by."""
WITH_ANNEX = "document.querySelector('#with-annex').checked = {}"
POINTS_8 = 8 * 96 / 72
"""8 points in CSS pixels, of which there are 96 to the inch of 72 points."""

pytestmark = pytest.mark.skipif(browser() is None, reason="no Chromium on this machine, and RQA_BROWSER names none")


@pytest.fixture(scope="module")
def page(hostile_facts: MonthFacts, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("browser")
    drawn = plot(step_map(), headed=False, width="container").to_dict()
    mapped = replace(hostile_facts.figures[0], key="step-map", spec=drawn)
    table = PageTable("Jobs", ("job", "closed"), (("J1", "2026-01-02"),), 2)
    behind = CasesListed("F-made", "model Marl-10", "1 job", 1, table, "As a file: rqa jobs WORKSPACE")
    shown = replace(hostile_facts, figures=(*hostile_facts.figures, mapped), lists=(*hostile_facts.lists, behind))
    (folder / "page.html").write_text(render(shown), encoding="utf-8")
    return folder / "page.html"


@pytest.fixture(scope="module")
def tab(page: Path) -> Iterator[Tab]:
    with opened(str(browser()), page) as tab:
        tab.look(width=1280)
        assert tab.value("document.querySelectorAll('.live svg').length") == 0, "none in a folded part"
        tab.value(OPENED)
        tab.wait_for(f"document.querySelectorAll('.drawn .live svg').length === {FIGURES}")
        assert tab.value(FIGURES) >= 7
        yield tab


def test_it_asks_for_nothing_and_complains_of_nothing(tab: Tab, page: Path) -> None:
    outside = [r for r in tab.requests if not r.startswith(("data:image/svg+xml;base64,", "about:blank"))]
    assert outside == [page.resolve().as_uri()]
    assert tab.complaints == []


def test_nothing_in_the_data_was_run(tab: Tab) -> None:
    """The hostile name would have opened a box or left an image of its own."""
    assert tab.value("[...document.images].every(i => i.classList[0] === 'still')")
    assert tab.value("document.scripts.length") == 3
    assert tab.value("document.querySelector('main').textContent.includes('<script>alert(1)')")


@pytest.mark.parametrize(
    "attempt",
    [
        "fetch('http://example.invalid/x')",
        "(() => { const i = new Image(); i.src = 'http://example.invalid/x.png'; return i.decode(); })()",
        "new Promise((done, failed) => { const s = document.createElement('script'); s.src = 'data:text/javascript,1'; "
        "s.onload = done; s.onerror = failed; document.body.append(s); })",
    ],
    ids=["fetch", "image", "script"],
)
def test_its_policy_stops_what_would_leave_it(page: Path, attempt: str) -> None:
    """Even a script that did get to run could not send or load: the attempt fails, and the policy is named."""
    with opened(str(browser()), page) as fresh:
        said = fresh.value(
            "new Promise(done => { let named = ''; document.addEventListener('securitypolicyviolation', "
            f"e => {{ named = e.effectiveDirective; }}); ({attempt}).then(() => done('done'), "
            "() => setTimeout(() => done(named), 50)); })"
        )
        assert said in ("connect-src", "img-src", "script-src-elem")


@pytest.mark.parametrize(("width", "medium"), [(390, "screen"), (1280, "screen"), (A4, "print")])
def test_all_text_can_be_read(tab: Tab, width: int, medium: str) -> None:
    tab.value(WITH_ANNEX.format("true"))
    tab.look(width=width, medium=medium)
    if medium == "screen":
        tab.wait_for(FITTED)
    found: dict[str, Any] = tab.value(MEASURED)
    tab.value(WITH_ANNEX.format("false"))
    assert found["texts"] > 200
    assert found["faults"] == []


def test_what_could_not_be_read_would_be_found(tab: Tab) -> None:
    tab.look(width=1280)
    planted = "<div id=planted style='position:absolute;top:%s;left:%s;white-space:nowrap'>planted words</div>"
    for where, fault in ((("100px", "1270px"), "sticks out"), (("THERE", "160px"), "lie on each other")):
        top = tab.value("document.querySelector('h1').getBoundingClientRect().top + scrollY + 12")
        text = (planted % where).replace("THERE", f"{top}px")
        tab.value(f'document.body.insertAdjacentHTML("beforeend", "{text}")')
        assert any(fault in f and "planted" in f for f in tab.value(MEASURED)["faults"])
        tab.value("document.querySelector('#planted').remove()")


def words_under_the_pointer(tab: Tab) -> str:
    """Move to the middle of the first bar of costs, wherever it is laid out now, and read the box that opens."""
    x, y = tab.value(
        "(() => { const bar = document.querySelector('#figure-cost-kinds .live .mark-rect path'); "
        "bar.scrollIntoView({block: 'center', behavior: 'instant'}); "
        "const b = bar.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]; })()"
    )
    for place in (x - 2, x):
        tab.ask("Input.dispatchMouseEvent", type="mouseMoved", x=place, y=y)
    return str(tab.value("document.querySelector('#vg-tooltip-element.visible')?.innerText ?? ''"))


def test_a_pointer_on_a_mark_shows_its_numbers(tab: Tab) -> None:
    tab.look(width=1280)
    tab.wait_for(FITTED)
    words = next(w for _ in range(100) if (w := words_under_the_pointer(tab)))
    assert "come-backs with a known cost" in words
    assert tab.value("document.querySelectorAll('#vg-tooltip-element :is(script, img)').length") == 0
    box = "getComputedStyle(document.querySelector('#vg-tooltip-element'))"
    assert tab.value(f"[{box}.borderTopWidth, {box}.borderRadius, {box}.boxShadow]") == ["3px", "0px", "none"]
    tab.ask("Input.dispatchMouseEvent", type="mouseMoved", x=1, y=1)


def test_one_click_puts_the_steps_in_the_order_of_their_size(tab: Tab) -> None:
    tab.look(width=1280)
    names = (
        "[...document.querySelectorAll('#figure-step-map .live text')].filter(t => / · /.test(t.textContent))"
        ".map(t => [t.getBoundingClientRect().top, t.textContent]).sort((a, b) => a[0] - b[0]).map(t => t[1])"
    )
    before = tab.value(names)
    places = [int(name.split(" ")[0]) for name in before]
    assert places == sorted(places)
    assert len(places) >= 3
    choices = "document.querySelectorAll('#figure-step-map .vega-bindings input')"
    tab.value(f"{choices}[1].click()")
    tab.wait_for(f"{names}.join() !== {json.dumps(','.join(before))}")
    after = tab.value(names)
    assert sorted(after) == sorted(before)
    tab.value(f"{choices}[0].click()")


def sheets_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


def printed(tab: Tab) -> bytes:
    """As a browser prints, with no medium forced on the page."""
    tab.ask("Emulation.setEmulatedMedia", media="")
    return base64.b64decode(tab.ask("Page.printToPDF", preferCSSPageSize=True)["data"])


def test_printed_the_sheet_is_one_page_that_can_be_read(tab: Tab) -> None:
    """On A4; no text, and no label of a picture as it is scaled, is smaller than 8 points."""
    assert sheets_of(printed(tab)) == 1
    tab.look(width=A4, medium="print")
    assert tab.value("[...document.images].filter(i => i.checkVisibility()).length") == 4
    smallest = tab.value(
        "Math.min(...[...document.querySelectorAll('header *, #sheet *')].filter(e => e.checkVisibility() && "
        "!e.classList.contains('unseen')).map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert smallest >= POINTS_8
    scale = tab.value("Math.min(...[...document.querySelectorAll('.tile')].map(i => i.width / i.naturalWidth))")
    assert LETTERS * scale >= POINTS_8


def test_printed_with_the_annex_it_shows_its_pictures_in_the_full_width(tab: Tab) -> None:
    tab.value(WITH_ANNEX.format("true"))
    try:
        pages = sheets_of(printed(tab))
        tab.look(width=A4, medium="print")
        visible = "[...document.querySelectorAll('figure img')].filter(i => i.checkVisibility())"
        assert tab.value(f"{visible}.length") == tab.value(FIGURES)
        assert tab.value(f"Math.min(...{visible}.map(i => i.getBoundingClientRect().width))") >= tab.value(ROOM) - 1
        assert tab.value("[...document.querySelectorAll('.live')].some(e => e.checkVisibility())") is False
        highest = tab.value(
            "Math.max(...[...document.querySelectorAll('figure')].map(f => f.getBoundingClientRect().height))"
        )
        assert highest < 1017, "a figure fits on a sheet (269 mm), so none must be split"
        assert 6 <= pages <= 20
    finally:
        tab.value(WITH_ANNEX.format("false"))
        tab.look(width=1280)


def test_the_first_three_items_are_seen_at_first_sight(tab: Tab) -> None:
    """In a window of 1280 by 800; the whole sheet is one phone screen and a half, 390 by 844."""
    tab.look(width=1280)
    last = "(document.querySelector('#act') ?? document.querySelector('#measures'))"
    assert tab.value(f"{last}.getBoundingClientRect().bottom + scrollY") <= 800
    tab.look(width=390)
    assert tab.value("document.querySelector('#sheet').getBoundingClientRect().bottom + scrollY") <= 844 * 1.5
    tab.look(width=1280)


def press(tab: Tab, key: str, text: str) -> None:
    """Press a key where the focus is."""
    for kind in ("keyDown", "keyUp"):
        tab.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=13, text=text)


def test_a_link_into_a_folded_part_opens_it(page: Path) -> None:
    with opened(str(browser()), page) as fresh:
        state = "document.querySelector('#safety').open"
        assert fresh.value(state) is False
        fresh.value("document.querySelector('.lines a[href=\"#safety\"]').click()")
        fresh.wait_for(state)
        # The same link again, though the address stays the same.
        fresh.value("document.querySelector('#safety').open = false")
        fresh.value("document.querySelector('.lines a[href=\"#safety\"]').click()")
        fresh.wait_for(state)
        # A list within a part opens with it, and closed again it opens by the same link.
        link = "<a id=to href=#jobs-F-made>1</a>"
        fresh.value(f"document.querySelector('#annex').insertAdjacentHTML('beforebegin', '{link}')")
        listed = "document.querySelector('#jobs').open && document.querySelector('#jobs-F-made').open"
        for _ in range(2):
            assert fresh.value(listed) is False
            fresh.value("document.querySelector('#to').focus()")
            press(fresh, "Enter", "\r")
            fresh.wait_for(f"{listed} && document.querySelector('#jobs-F-made td').checkVisibility()")
            fresh.value("document.querySelector('#jobs-F-made').open = document.querySelector('#jobs').open = false")
        # Of the others none is opened; each opens by the keyboard, as a summary does.
        assert fresh.value("document.querySelectorAll('details.part[open]').length") == 1
        fresh.value("document.querySelector('#goals summary').focus()")
        press(fresh, "Enter", "\r")
        fresh.wait_for("document.querySelector('#goals').open")


def test_the_command_s_pdf(page: Path, tmp_path: Path) -> None:
    made = write_pdf(page, tmp_path / "page.pdf").read_bytes()
    assert made.startswith(b"%PDF")
    assert sheets_of(made) == 1
    assert sheets_of(write_pdf(page, tmp_path / "all.pdf", annex=True).read_bytes()) >= 6


@pytest.mark.skipif(not AXE.is_file(), reason="no axe-core in .cache/ (.ci/run fetches it where it can)")
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_no_serious_fault_of_accessibility(tab: Tab, dark: bool) -> None:
    tab.look(width=1280, dark=dark)
    tab.ask("Runtime.evaluate", expression=AXE.read_text(encoding="utf-8"))
    found = tab.value(
        "axe.run(document, {resultTypes: ['violations']}).then(r => ({done: r.passes.length, "
        "faults: r.violations.filter(v => ['serious', 'critical'].includes(v.impact))"
        ".map(v => v.id + ': ' + v.nodes[0].html.slice(0, 200))}))"
    )
    assert found["done"] > 20
    assert found["faults"] == []
