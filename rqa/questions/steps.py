"""`depot.steps`: which steps send units back, how they were done, and where failures bunch."""

from rqa.answers.steps.attribution import attribution as _attribution
from rqa.answers.steps.battery_breaches import battery_breaches as _battery_breaches
from rqa.answers.steps.bursts import bursts as _bursts
from rqa.answers.steps.clusters import clusters as _clusters
from rqa.answers.steps.co_failures import co_failures as _co_failures
from rqa.answers.steps.conformance import breaches as _breaches
from rqa.answers.steps.conformance import conformance as _conformance
from rqa.answers.steps.costs import step_costs as _step_costs
from rqa.answers.steps.exposure import step_exposure as _step_exposure
from rqa.answers.steps.relative_risk import step_relative_risk as _step_relative_risk
from rqa.answers.steps.risk import step_map as _step_map
from rqa.answers.steps.risk import step_risk as _step_risk
from rqa.answers.steps.step_times import step_times as _step_times
from rqa.asking import Area, question


class Steps(Area):
    """Which steps send units back, how they were done, and where failures bunch."""

    risk = question(_step_risk)
    map = question(_step_map)
    exposure = question(_step_exposure)
    attribution = question(_attribution)
    relative_risk = question(_step_relative_risk)
    conformance = question(_conformance)
    breaches = question(_breaches)
    battery_breaches = question(_battery_breaches)
    bursts = question(_bursts)
    clusters = question(_clusters)
    co_failures = question(_co_failures)
    times = question(_step_times)
    costs = question(_step_costs)
