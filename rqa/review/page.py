"""The month's page as one HTML file that loads nothing: facts in, text out, the same bytes for the same facts."""

import base64
import hashlib
import json
import re
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

from rqa.answers.core.grounds import Sentence
from rqa.answers.core.html_table import html_table
from rqa.depot import Depot
from rqa.errors import RequestError
from rqa.plots.renderer import still, viewer_style
from rqa.plots.theme import WIDTH
from rqa.progress import Progress, Stage, silent
from rqa.review import sheet_texts
from rqa.review.describe import describe
from rqa.review.drawing_library import drawing_library
from rqa.review.facts import MonthFacts, PageTable
from rqa.review.kept_pictures import Draw, kept_pictures
from rqa.review.ledger import keep, read_ledger
from rqa.shown import shown
from rqa.stopping import held
from rqa.written import write_whole

HEADINGS = {"words": "The month in words", "figures": "Figures"}
"""Those parts of the annex that are no sections of facts, and that findings lead to."""
TAG, UNSEEN = re.compile(r"<[^<>]*>"), re.compile(r' (?:role|aria-[a-z]+|class|pointer-events)="[^"]*"')
"""An element of a picture, and what of it a picture does not show: what it says to a screen reader or a pointer."""
EMPTY = re.compile(r'<path d="(?:M0,0h0v0h0Z)?"[^<>]*/>')
"""A path that draws nothing."""
LONG_NUMBER = re.compile(r"\d+\.\d{3,}")


@dataclass(frozen=True)
class Page:
    """A page that was written: where, its one-line message, and why somebody has to act, where somebody has."""

    path: Path
    headline: str
    to_act: tuple[str, ...] = ()


def write_page(depot: Depot, to: str | Path, month: str | date | None = None, progress: Progress = silent) -> Page:
    """Write the page of one month; `to` is the file, or a folder in which it becomes `review-YYYY-MM.html`.

    What it tells in figures goes into a ledger beside it, so that the month's next page can say what changed since.
    """
    return write_facts(depot, to, month, progress)[0]


def write_facts(
    depot: Depot, to: str | Path, month: str | date | None = None, progress: Progress = silent
) -> tuple[Page, MonthFacts]:
    """Write the page of one month, and give its facts, too."""
    folder = folder_of(to)
    earlier = read_ledger(folder)
    facts = describe(depot, month, earlier, progress)
    target = target_of(to, facts, ".html")
    progress(Stage("drawing the page"))
    text = render(facts, kept_pictures(depot))
    try:
        with held():
            target.parent.mkdir(parents=True, exist_ok=True)
            write_whole(target, text.encode("utf-8"))
            keep(folder, earlier, facts.record)
    except OSError as error:
        raise RequestError(f"{target}: cannot write the page ({error.strerror}); name another file.") from error
    return Page(target, facts.headline, facts.sheet.to_act), facts


def folder_of(to: str | Path) -> Path:
    """The folder of what is written to `to`, a file or a folder."""
    target = Path(to)
    return target if target.is_dir() or not target.suffix else target.parent


def target_of(to: str | Path, facts: MonthFacts, ending: str) -> Path:
    """The file: `to` itself, or in the folder `to` one that is named after the month."""
    folder = folder_of(to)
    return folder / f"review-{facts.month:%Y-%m}{ending}" if folder == Path(to) else Path(to)


def render(facts: MonthFacts, drawn: Draw = still) -> str:
    """The page's HTML; `drawn` draws a picture."""
    import jinja2
    from markupsafe import Markup

    room = files("rqa.review")
    environment = jinja2.Environment(
        undefined=jinja2.StrictUndefined, autoescape=True, keep_trailing_newline=True, finalize=_kept_together
    )
    template = environment.from_string((room / "page.html.j2").read_text(encoding="utf-8"))
    bundle = drawing_library()
    draw = "".join((room / name).read_text(encoding="utf-8") for name in ("draw.js", "parts.js"))
    scripts = " ".join(f"'sha256-{_sha256(s)}'" for s in (bundle, draw))
    policy = (
        f"default-src 'none'; script-src {scripts}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    stills = {f.key: drawn({**f.spec, "width": WIDTH}) for f in facts.drawn}
    return template.render(
        facts=facts,
        sheet=facts.sheet,
        listed={made.id: made for made in facts.lists},
        say=sheet_texts,
        headings={**HEADINGS, **{s.key: s.heading for s in facts.sections}},
        tiles={t.key: _data_address(drawn(t.spec)) for t in facts.sheet.tiles if t.spec},
        policy=Markup(policy),
        style=Markup((room / "page.css").read_text(encoding="utf-8") + viewer_style()),
        place={f.key: i for i, f in enumerate(facts.drawn)},
        stills={key: _data_address(svg) for key, svg in stills.items()},
        tall={key for key, svg in stills.items() if _is_tall(svg)},
        specs=Markup(_inside_script([f.spec for f in facts.drawn])),
        bundle=Markup(bundle),
        draw=Markup(draw),
        table=lambda table: Markup(_table(table)),
    )


def _table(table: PageTable) -> str:
    kept = [[(_kept_together(text), n >= table.names) for n, text in enumerate(row)] for row in table.rows]
    head = [(_kept_together(text), n >= table.names) for n, text in enumerate(table.columns)]
    return html_table(head, kept, caption=_kept_together(table.caption), row_names=True)


def _kept_together(value: Any) -> Any:
    """Text as it may be shown, its percent signs kept on the line of their number."""
    return shown(value).replace(" %", "\u00a0%") if type(value) in (str, Sentence) else value


def _sha256(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")


def _inside_script(data: Any) -> str:
    """Data as JSON that cannot end the script element it stands in."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _is_tall(svg: str) -> bool:
    """Whether a still picture is higher than wide: one of many rows, to be read on a sheet of its own."""
    found = re.search(r'<svg [^>]*?\bwidth="([\d.]+)" height="([\d.]+)"', svg)
    return found is not None and float(found[2]) > float(found[1])


def _as_drawn(tag: re.Match[str]) -> str:
    return LONG_NUMBER.sub(lambda number: f"{float(number[0]):.2f}", UNSEEN.sub("", tag[0]))


def _data_address(svg: str) -> str:
    """The still picture, as an address that holds it; as an image it can run nothing and mixes no ids.

    What its marks say to a screen reader is left out, as an image is read by its text alternative alone. So is what
    draws nothing, and any part of a pixel under a hundredth.
    """
    plain = EMPTY.sub("", TAG.sub(_as_drawn, svg))
    return "data:image/svg+xml;base64," + base64.b64encode(plain.encode("utf-8")).decode("ascii")
