"""A technician's own sheet as a page of its own: one A4 page that loads nothing, or the same printed."""

import math
import tempfile
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rqa.answers.compare.comparison import TOO_LITTLE
from rqa.answers.compare.own_work_sheet import PURPOSE, OwnWork
from rqa.answers.compare.own_work_words import ABOVE, BELOW, CASES, EVENTS, SAME, in_brackets
from rqa.answers.core.persons import PEOPLE
from rqa.errors import RequestError
from rqa.shown import shown
from rqa.words import counted, counted_of, day_name, estimate, months_said, percent
from rqa.written import write_whole

if TYPE_CHECKING:
    from rqa.depot import Depot

ENDINGS = (".html", ".pdf")
LEAST, MOST = 0.25, 4.0
"""The ends of the scale of ratios, which is logarithmic; what lies beyond is cut."""
STEPS, PROCEDURES = 8, 5
"""Rows shown; the answer holds all."""
WORDS = {BELOW: "yes: fewer", ABOVE: "yes: more", SAME: "no", TOO_LITTLE: "too little work"}
"""Whether own work can be told apart from the same work elsewhere."""


def write_sheet(depot: "Depot", technician: str, to: Path | None = None, **how: Any) -> Path:
    """Write the sheet as .html, or print it as .pdf; by default `own-work.html` beside the store or in the lake."""
    place = depot.path if depot.path.is_dir() else depot.path.parent
    target = to or place / "own-work.html"
    if target.suffix.lower() not in ENDINGS:
        raise RequestError(f"sheet: it is written to a file that ends with .html or .pdf, not to {target.name}.")
    made = page(depot.technician(technician, **how), depot.about.get("title", "")).encode("utf-8")
    if target.suffix.lower() == ".html":
        write_whole(target, made)
        return target
    from rqa.review.printed import write_pdf

    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / "own-work.html"
        plain.write_bytes(made)
        return write_pdf(plain, target)


def page(answer: OwnWork, title: str) -> str:
    """The sheet's HTML."""
    import jinja2
    from markupsafe import Markup

    environment = jinja2.Environment(undefined=jinja2.StrictUndefined, autoescape=True, finalize=_as_shown)
    template = environment.from_string((files("rqa.review") / "own_sheet.html.j2").read_text(encoding="utf-8"))
    s: Any = answer.settings
    rows = list(answer.table.iter_rows(named=True))
    steps = [row for row in rows if row["step"]]
    return template.render(
        name=s["technician"], depot=title, when=months_said(*s["months"]) if s["months"] else "all months of the logs",
        as_of=day_name(s["as_of"]), level=f"{s['level'] * 100:g}\u00a0%", window=s["window"],
        measures=[_row(row, EVENTS[row["measure"]], Markup) for row in rows if not row["step"]],
        steps=[_row(row, row["step"], Markup) for row in steps[:STEPS]],
        more_steps=f"{counted(len(steps) - STEPS, 'more step')} with enough work." if len(steps) > STEPS else "",
        strengths=answer.strengths, practise=answer.practise, learning=_learning(answer), purpose=PURPOSE,
        people=PEOPLE, scale=Markup(_scale()),
    )


def _as_shown(value: Any) -> Any:
    return shown(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


def _row(row: dict[str, Any], label: str, markup: Any) -> dict[str, Any]:
    have = row["ratio"] is not None
    return {
        "label": label,
        "counts": f"{row['events']:,} of {counted_of(row['cases'], CASES[row['measure']])}",
        "expected": estimate(row["expected"]) if row["expected"] is not None else "no data",
        "ratio": in_brackets(row),
        "picture": markup(_drawn(row["ratio"], row["low"], row["high"]) if have else ""),
        "verdict": WORDS.get(row["verdict"], row["verdict"]),
    }


def _x(ratio: float) -> float:
    """The place of a ratio on a picture 200 wide."""
    inside = min(max(ratio, LEAST), MOST)
    return 10.0 + 180.0 * (math.log(inside) - math.log(LEAST)) / (math.log(MOST) - math.log(LEAST))


def _drawn(ratio: float, low: float, high: float) -> str:
    """A ratio as a dot on the line of its interval, beside 1."""
    one, at = _x(1.0), _x(ratio)
    dot = f'<circle cx="{at:.1f}" cy="8" r="4"/>' if LEAST <= ratio <= MOST else ""
    return (
        f'<svg viewBox="0 0 200 16" role="img" aria-label="{ratio:.2f} times, {low:.2f} to {high:.2f}">'
        f'<line x1="{one:.1f}" x2="{one:.1f}" y1="1" y2="15" class="one"/>'
        f'<line x1="{_x(low):.1f}" x2="{_x(high):.1f}" y1="8" y2="8" class="reach"/>{dot}</svg>'
    )


def _scale() -> str:
    """The scale above the pictures."""
    marks = "".join(
        f'<text x="{_x(at):.1f}" y="11" text-anchor="middle">{said}</text>'
        for at, said in ((0.25, "¼"), (0.5, "½"), (1.0, "1"), (2.0, "2"), (4.0, "4"))
    )
    return f'<svg viewBox="0 0 200 14" aria-hidden="true">{marks}</svg>'


def _learning(answer: OwnWork) -> list[dict[str, str]]:
    """The procedures with the most jobs: how the yield goes with practice."""
    made = []
    for row in (answer.learning.iter_rows(named=True) if answer.learning is not None else ()):
        if not row["exposures"]:
            continue
        made.append({
            "procedure": row["procedure"], "jobs": counted(row["jobs"], "job"),
            "yield": f"{percent(row['yield'])} of {counted(row['exposures'], 'first check')} passed",
            "verdict": row["verdict"],
        })
    return made[:PROCEDURES]
