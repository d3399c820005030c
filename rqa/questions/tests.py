"""`depot.tests`: the diagnostics as a measuring system: what they catch, what escapes, whether to rely on them."""

from rqa.answers.tests.agreement import agreement as _agreement
from rqa.answers.tests.coverage import coverage_gap as _coverage_gap
from rqa.answers.tests.drift import drift as _drift
from rqa.answers.tests.escapes import escapes as _escapes
from rqa.answers.tests.limits import limits_tradeoff as _limits_tradeoff
from rqa.answers.tests.outcomes import diagnostics as _diagnostics
from rqa.answers.tests.predictive_values import predictive_values as _predictive_values
from rqa.answers.tests.readings import readings as _readings
from rqa.answers.tests.releases import release_faults as _release_faults
from rqa.answers.tests.releases import releases as _releases
from rqa.answers.tests.retests import retests as _retests
from rqa.asking import Area, question


class Tests(Area):
    """The diagnostics as a measuring system: what they catch, what escapes, whether to rely on them."""

    outcomes = question(_diagnostics)
    retests = question(_retests)
    escapes = question(_escapes)
    coverage_gap = question(_coverage_gap)
    predictive_values = question(_predictive_values)
    releases = question(_releases)
    release_faults = question(_release_faults)
    readings = question(_readings)
    agreement = question(_agreement)
    drift = question(_drift)
    limits = question(_limits_tradeoff)
