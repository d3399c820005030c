"""The sheet in short, as a plain text and as an e-mail: verdict, measures, problems, and where the page is."""

from datetime import date
from email import policy
from email.message import EmailMessage
from pathlib import Path

from rqa.depot import Depot
from rqa.progress import Progress, silent
from rqa.review.facts import MonthFacts
from rqa.review.page import Page, folder_of, write_facts
from rqa.review.sheet_texts import ACTION, NEXT, OPEN
from rqa.review.texts import cut
from rqa.shown import one_line
from rqa.written import write_whole

MOST_LINES = 15
"""Lines of the message, at most; a line is a sentence or an entry of a list, however the reader's window breaks it."""
BOUNDARY = "rqa-review"
"""Between the parts of the e-mail: fixed, so that the same facts give the same bytes."""
LONGEST, SUBJECT = 500, 30
"""Signs of a line of the e-mail's head, and words of its subject."""
ENDINGS = {"text": ".txt", "email": ".eml"}


def write_message(
    depot: Depot, to: str | Path, month: str | date | None = None, progress: Progress = silent, *, form: str = "text",
    link: str = "",
) -> tuple[Page, Page]:
    """Write the month's page and, beside it, its message in the form "text" or "email"; both are named.

    `link` is the address that the message gives for the page; by default the page's file name.
    """
    named = None if folder_of(to) == Path(to) else Path(to)
    page, facts = write_facts(depot, to if named is None else named.with_suffix(".html"), month, progress)
    own = ENDINGS[form] if named is None or named.suffix == ".html" else named.suffix
    target = page.path.with_suffix(own)
    said = text(facts, link or page.path.name)
    write_whole(target, said.encode("utf-8") if form == "text" else email(facts, link or page.path.name))
    return page, Page(target, said, page.to_act)


def lines(facts: MonthFacts) -> tuple[str, ...]:
    """The message without its link: a heading, the verdict, the measures, the problems, safety."""
    sheet = facts.sheet
    said = [f"{sheet.heading}: {sheet.under}", *map(str, sheet.verdict)]
    for t in sheet.tiles:
        when, of = (f" ({text})" if text else "" for text in (t.when, t.of))
        said.append(f"{t.measure[:1].upper()}{t.measure[1:]}{of}: {t.value}{when}, {t.word}; {t.goal}")
    for number, p in enumerate(sheet.problems, 1):
        worth = f", {p.worth}" if p.worth else ""
        done = f"{ACTION} {p.action}." if p.action else OPEN
        said.append(f"{number}. {p.where}: {p.what}{worth}. {NEXT} {p.check}. {done}")
    said += [f"{line.heading}: {'; '.join(line.items)}" for line in sheet.lines if line.heading in ("Cost", "Safety")]
    return tuple(one_line(part) for part in said[: MOST_LINES - 1])


def text(facts: MonthFacts, link: str) -> str:
    """The message as plain text, its link last."""
    return "\n".join((*lines(facts), f"The page: {one_line(link)}")) + "\n"


def email(facts: MonthFacts, link: str) -> bytes:
    """The message as an e-mail with a part in plain text and one in HTML; whom it goes to is not in it.

    The subject says whether there is something to act on.
    """
    import jinja2

    template = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined).from_string(HTML)
    made = EmailMessage(policy=policy.SMTP.clone(max_line_length=LONGEST))
    count = len(facts.sheet.to_act)
    act = "to act on: " + "; ".join(facts.sheet.to_act) if count else "on record, for your information"
    made["Subject"] = cut(one_line(f"{facts.sheet.heading}, {act}"), SUBJECT)
    made.set_content(text(facts, link))
    address = link if link.startswith(("https://", "http://", "file://")) else ""
    made.add_alternative(
        template.render(first=lines(facts)[0], lines=lines(facts)[1:], link=link, address=address), subtype="html"
    )
    made.set_boundary(BOUNDARY)
    return made.as_bytes()


HTML = """\
<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{{ first }}</title></head>
<body style="font-family: Arial, Helvetica, sans-serif; font-size: 15px; line-height: 1.45; max-width: 42em">
<p><b>{{ first }}</b></p>
{%- for line in lines %}
<p style="margin: 0 0 .4em">{{ line }}</p>
{%- endfor %}
<p>The page: {% if address %}<a href="{{ address }}">{{ address }}</a>{% else %}{{ link }}{% endif %}</p>
</body></html>
"""
