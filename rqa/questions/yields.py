"""`depot.yields`: what passed first time, what failed, what was done again, and what practice brings."""

from rqa.answers.compare.practice import learning as _learning
from rqa.answers.yields.clean import clean_jobs as _clean_jobs
from rqa.answers.yields.defects import defects as _defects
from rqa.answers.yields.pareto import failures as _failures
from rqa.answers.yields.rework import rework as _rework
from rqa.answers.yields.rework import rework_routes as _rework_routes
from rqa.answers.yields.rolled import rolled_yield as _rolled_yield
from rqa.asking import Area, question


class Yields(Area):
    """What passed first time, what failed, what was done again, and what practice brings."""

    rolled = question(_rolled_yield)
    clean = question(_clean_jobs)
    defects = question(_defects)
    failures = question(_failures)
    rework = question(_rework)
    rework_routes = question(_rework_routes)
    learning = question(_learning)
