"""Every promise about errors that a text of rqa makes: its words, when it holds, what tries it, and the last figure.

A figure is what `tests/bench/honesty.py` (or the file named) printed last; renew it with the table in DEVELOPERS.md.
`tests/gate/test_promises.py` wants an entry for every sentence that reads like a promise.
"""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Promise:
    """`says`: the words, as they stand in `places`. `tried_by`: simulations of `honesty.py`, or files of tests.

    `broken`: where it does not hold, in words; empty where no simulation speaks against it.
    """

    says: str
    places: tuple[str, ...]
    condition: str
    tried_by: tuple[str, ...]
    broken: str = ""


MEASURED_ON = "2026-12-01"
MEASURED: dict[str, tuple[float, float, int]] = {
    "yield limits": (0.970, 0.017, 100),
    "benches": (0.033, 0.023, 60),
    "benches, come-backs": (0.075, 0.042, 40),
    "stations": (0.025, 0.025, 40),
    "technicians": (0.075, 0.042, 40),
    "bad bench": (0.800, 0.063, 40),
    "month, come-backs": (0.033, 0.023, 60),
    "month, yield": (0.017, 0.017, 60),
    "month, months vary": (0.017, 0.017, 60),
    "quiet chart": (0.062, 0.012, 400),
    "quiet chart, months vary": (0.090, 0.014, 400),
    "quiet chart, season": (0.000, 0.002, 400),
    "findings": (0.100, 0.067, 20),
    "findings, a quiet year": (0.029, 0.029, 34),
    "new bench": (0.450, 0.111, 20),
    "new kind": (0.550, 0.111, 20),
    "new step of a person": (0.250, 0.097, 20),
    "findings, people differ": (0.042, 0.024, 60),
    "watch": (0.600, 0.116, 40),
    "watch, all vary": (0.725, 0.154, 40),
    "watch, doubled bench": (0.375, 0.077, 40),
    "forecast": (0.979, 0.024, 40),
    "forecast, all vary": (0.987, 0.024, 40),
    "recheck": (0.991, 0.003, 1000),
    "recheck, risk": (0.816, 0.016, 60),
    "mix": (0.017, 0.017, 60),
    "own sheet": (0.003, 0.048, 20),
}
"""What each simulation of `honesty.py` gave last: the share, its standard error, and of how many workshops."""

PROMISES = (
    Promise(
        says="they hold the number of all faulty jobs at least 19 times in 20",
        places=("shared/recheck.md",),
        condition="draws of five a day over four weeks, risks foretold wrongly by half; opened as drawn",
        tried_by=("recheck",),
    ),
    Promise(
        says="past forecast')} held what came",
        places=("rqa/answers/comebacks/forecast.py",),
        condition="come-backs of the units out now, by site; people and months may differ",
        tried_by=("forecast", "forecast, all vary"),
    ),
    Promise(
        says="false alarm')} a year on steady work",
        places=("rqa/answers/charts/watch.py",),
        condition="all series of a watch together; people and months may differ, checks of a job may go together",
        tried_by=("watch", "watch, all vary"),
    ),
    Promise(
        says="of those listed, one in twenty at most is expected to be due to chance",
        places=("rqa/answers/improve/findings.py",),
        condition="all comparisons of a month at once; people may differ",
        tried_by=("findings", "findings, people differ"),
    ),
    Promise(
        says="Of years without anything to be found, one in ten at most has a page that lists any",
        places=("rqa/answers/improve/findings.py",),
        condition="twelve pages, one a month; nothing truly differs. It follows from the promise of one page: twelve "
                  "times a chance of 0.1 / 12 at most; tried are the comparisons over windows of months",
        tried_by=("findings, a quiet year",),
    ),
    Promise(
        says="in a hundred at most have a finding",
        places=("rqa/answers/improve/finding_words.py",),
        condition="twelve pages, one a month; nothing truly differs; tried are the comparisons over windows of months",
        tried_by=("findings, a quiet year",),
    ),
    Promise(
        says="in a hundred at most are expected to be due to chance",
        places=("rqa/answers/improve/finding_words.py",),
        condition="all comparisons of a month at once; people may differ",
        tried_by=("findings", "findings, people differ"),
    ),
    Promise(
        says="one in twenty of those listed at most is due to chance",
        places=("shared/methods.md",),
        condition="all comparisons of a month at once; people may differ",
        tried_by=("findings", "findings, people differ"),
    ),
    Promise(
        says="of those that remain, one in twenty at most is expected to be due to chance",
        places=("notebooks/08_month.ipynb",),
        condition="all comparisons of a month at once; people may differ",
        tried_by=("findings", "findings, people differ"),
    ),
    Promise(
        says="of those called above or below, one in twenty at most is expected to be due to chance",
        places=("rqa/answers/compare/comparison_words.py",),
        condition="one comparison; people may differ and work mostly at one bench; checks of a job may go together",
        tried_by=("benches", "benches, come-backs", "stations", "technicians"),
    ),
    Promise(
        says="hold the true figure about 19 times in 20",
        places=("shared/glossary.md",),
        condition="shares of jobs, and of checks of which a job has several that go together",
        tried_by=("yield limits",),
    ),
    Promise(
        says="Steady work raises a false alarm",
        places=("rqa/answers/charts/chart_rules.py",),
        condition="months of one level that may vary at random; where points follow a season the chart says that it "
                  "does not hold",
        tried_by=("quiet chart", "quiet chart, months vary", "quiet chart, season"),
    ),
    Promise(
        says="with a chance of at most 1 - level however often it is read",
        places=("rqa/answers/improve/verdicts.py",),
        condition="actions without effect, read at every month end",
        tried_by=("tests/bench/verdicts.py",),
        broken="at 800 jobs a month whose true rates vary by 15 to 20 % one in ten, which the same text says",
    ),
    Promise(
        says="one action in twenty without effect is misjudged, at 800 a month one in ten",
        places=("rqa/answers/improve/verdicts.py",),
        condition="true rates of months vary by 15 to 20 %",
        tried_by=("tests/bench/verdicts.py",),
    ),
    Promise(
        says="of actions without effect one in twenty at most is called worked or worse",
        places=("rqa/review/improve/actions.py",),
        condition="actions without effect, read at every month end",
        tried_by=("tests/bench/verdicts.py",),
        broken="at 800 jobs a month whose true rates vary by 15 to 20 % one in ten",
    ),
    Promise(
        says="of such a list one in twenty at most is there by chance",
        places=("rqa/answers/comebacks/unit_lists.py",),
        condition="units of one group come back equally often",
        tried_by=("tests/answers/comebacks/test_comebacks_in_depth.py",),
    ),
    Promise(
        says="at most one in twenty by chance",
        places=("rqa/answers/core/result.py",),
        condition="the comparisons of one answer, judged together",
        tried_by=("benches", "stations", "technicians"),
    ),
    Promise(
        says="one in a hundred p-values was below 0.05",
        places=("rqa/answers/steps/cause_contrasts.py",),
        condition="depots without any excess",
        tried_by=("tests/answers/steps/test_attribution.py",),
    ),
    Promise(
        says="with no burst anywhere, `p_value` is at most 5 % five times in a hundred",
        places=("rqa/stats/scanning.py",),
        condition="no burst; cases by period and group as the margins have them",
        tried_by=("tests/stats/test_scan.py",),
    ),
    Promise(
        says="one in a hundred steady series fails each",
        places=("rqa/spc/choice.py",),
        condition="steady series of counts, values or gaps",
        tried_by=("tests/spc/test_which_chart.py",),
    ),
    Promise(
        says="A steady normal process is refused about three times in a hundred",
        places=("rqa/stats/process_capability.py",),
        condition="steady and normal",
        tried_by=("tests/stats/test_capability.py",),
    ),
    Promise(
        says="statistically clear when chance alone would make one as large less often than this",
        places=("rqa/answers/charts/month.py",),
        condition="a month against the year before: months of one level; checks of a job may go together",
        tried_by=("month, come-backs", "month, yield", "month, months vary"),
    ),
)
