"""The page's standing texts: what every page cautions, and what each figure means."""

from datetime import date

from rqa.answers.core.grounds import Grounds
from rqa.words import month_name

CANNOT_BE_TOLD = "cannot be told"
HAZARDS = ("Battery, electrostatic and sharp-edge", "Electrostatic and sharp-edge")
"""Work that needs protection, where units may have a battery, and where the procedures name none."""
HIDDEN = ("breach_jobs", "hide")
"""How the store says that the jobs with a breach are not shown."""
CAUTIONS = (
    "{hazards} work follows the maker's service guide, local codes and trained staff. "
    "No figure here justifies skipping a hold point or a protective measure.",
    "Figures about people are for coaching and for changing the process. They come with their uncertainty and are "
    "subject to local labour and privacy law; names can be replaced by keyed pseudonyms at intake. This page shows no "
    "person but the owners of actions.",
    "Groups of fewer than {smallest} cases are not shown, nor others from which these would follow; costs are "
    "sums, and are shown in full. So are months of the whole depot, the weeks of a burst, and the two sides of an "
    "action, whose scope the lead has chosen. The jobs behind a finding are listed, and no person with them.",
    "Rates are not adjusted for the mix of work: a month, a bench or a model with harder work looks worse than it is.",
    "A difference within chance is not proof that nothing changed: small numbers hide small changes.",
)
DEFINITIONS = (
    (
        "Come-back",
        "The next job on the same unit, opened at or after the closing of a repaired job, unless that job was "
        "cancelled. Within 30 (90) days: opened at most 30 (90) calendar days after closing.",
    ),
    (
        "Matured",
        "A job closed at least 30 (90) days before the day one looks. Only matured jobs enter a rate, and a month's "
        "rate is final 30 (90) days after its last day: a young month has no final rate yet, rather than a good one.",
    ),
    (
        "Mature and projected",
        "A mature rate is what happened, and stays. A projected rate is of a month some of whose jobs have not been "
        "out long enough: what happened to each job so far, and beyond its age what happened to the jobs of the last "
        "12 months at the same age, times the pace of the month's own returns so far. It is always called projected, "
        "and it will still change.",
    ),
    (
        "First-pass yield",
        "Of the first attempts at a step that were checked, the share that passed. Steps done or skipped without a "
        "check are counted beside it, never inside.",
    ),
    ("Clean job", "Every checked step and every first diagnostic run passed first time."),
    (
        "Cost of a come-back",
        "Labour, parts and freight of the job that came back, and those of the job before it where that was goodwill. "
        "By the month the unit came back, within 90 days of closing. A come-back whose cost is not known is counted, "
        "and its cost never taken as 0; a part that a site's logs never give is not counted, and named.",
    ),
    (
        "Goal met",
        "“Yes” or “no” only where the whole 95 % interval lies on one side of the goal; else it cannot be told.",
    ),
    (
        "95 % interval",
        "Where the true share plausibly lies, given the number of cases: Wilson (1927) for a share, Newcombe (1998) "
        "for a difference. 0 of 0 is “no data”.",
    ),
    (
        "Better since, worse since",
        "A change of level in the last twelve final months: the likelihood ratio of a change (Hawkins, Qiu and Kang "
        "2003), made smaller where months vary more than their counts alone would (McCullagh and Nelder 1989). "
        "Everything else is “no clear change”, as small numbers hide changes too; where even a rate that doubled or "
        "halved for half a year would not show, it “cannot be told”.",
    ),
    (
        "Limits of chance",
        "How far chance alone moves a month of its size: the mean of all matured months plus and "
        "minus three standard deviations, or other limits as rare to be passed where the counts are too few or too "
        "scattered for these; a note under the chart then says so. A month outside deserves the search for a cause.",
    ),
)
LUCK = (
    "“Better since” and “worse since” are said only of a change of level that chance would hardly bring. By chance "
    "alone a figure is called so on some page of one year in 25; where months truly differ by 15 to 20 %, of one year "
    "in fifteen (simulated, with 27 final months)."
)


def cut(text: str, words: int) -> str:
    """A text of so many words at most; what is cut off leaves a mark."""
    parts = text.split()
    return text if len(parts) <= words else f"{' '.join(parts[:words])} …"


def no_job_closed(there: Grounds, month: date) -> str:
    """That no job was closed in the month, if so; `there` are the grounds of the month."""
    return f"No job was closed in {month_name(month)}" if "closed_there" not in there.present else ""
