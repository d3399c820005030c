"""Statistics of counts: what a share is, how sure we are of it, whether two differ by more than chance.

Pure functions: counts in (lists, NumPy arrays, pandas or polars series), a frozen result of NumPy arrays out. They
know NumPy and SciPy and nothing of logs, stores or charts, so each can be used on its own.
"""

from rqa.stats.ageing_returns import ReturnsAhead, count_interval, returns_ahead
from rqa.stats.audit_size import AuditSize, jobs_to_audit
from rqa.stats.before_after import NetChange, RateChange, beyond_both, net_change, rate_change
from rqa.stats.chain_ladder import ChainLadder, chain_ladder
from rqa.stats.change_power import ChangePlan, OtherWork, chance_to_see, jobs_to_see, known_after, plan_change
from rqa.stats.chronic import ManyReturns, many_returns
from rqa.stats.clustered import ClusteredInterval, clustered_interval
from rqa.stats.common_ratio import MantelHaenszel, mantel_haenszel
from rqa.stats.concentration import WorstUnits, worst_units
from rqa.stats.contingency import ContingencyTest, contingency_test
from rqa.stats.contrast import IncidenceContrast, incidence_contrast
from rqa.stats.cost_limits import AmountInterval, mean_interval, total_interval
from rqa.stats.defects import DefectRate, defect_rate
from rqa.stats.difference import DifferenceInterval, difference_interval
from rqa.stats.dispersion import Overdispersion, overdispersion
from rqa.stats.exact_odds import ExactOddsRatio, exact_common_odds
from rqa.stats.expectation import ExpectationTest, expectation_test
from rqa.stats.fault_sensitivity import FaultSensitivity, fault_sensitivity
from rqa.stats.fisher import ProportionTest, proportion_test
from rqa.stats.follow_up import KaplanMeier, kaplan_meier
from rqa.stats.funnel import FunnelLimits, funnel_limits
from rqa.stats.gauge import GaugeStudy, gauge_rr
from rqa.stats.group_sequential import LookBounds, spending_bounds
from rqa.stats.guard_bands import GuardBand, PileUp, guard_band, pile_up_test
from rqa.stats.hazard import SmoothedHazard, smoothed_hazard
from rqa.stats.held_slopes import ridge_logit
from rqa.stats.incidence import CumulativeIncidence, cumulative_incidence
from rqa.stats.indirect_standardisation import MixExpectation, expected_from_mix
from rqa.stats.interrupted_series import InterruptedSeries, interrupted_series
from rqa.stats.learning import LearningCurve, learning_curve
from rqa.stats.learning_reach import CurvePoints, ExperienceNeeded, experience_needed, yield_on_curve
from rqa.stats.level_change import LevelChange, level_change
from rqa.stats.limit_choice import LimitsTradeoff, limits_tradeoff
from rqa.stats.many_ratings import FleissKappa, fleiss_kappa
from rqa.stats.marginal_scan import Margin, MarginBurst, MarginScan, scan_margins
from rqa.stats.masked_causes import MaskedCauses, masked_cause_mle
from rqa.stats.mean_cumulative import MeanCumulative, mean_cumulative_function
from rqa.stats.mean_cumulative_contrast import MeanCumulativeDifference, mean_cumulative_difference
from rqa.stats.mean_cumulative_counts import mean_cumulative_from_counts
from rqa.stats.mix_parts import MixAndRate, mix_and_rate
from rqa.stats.moving_yield import SmoothedYield, smoothed_yield
from rqa.stats.multiplicity import Discoveries, benjamini_hochberg
from rqa.stats.nested_windows import SurestWindow, surest_window
from rqa.stats.paired_ratings import CohenKappa, cohen_kappa
from rqa.stats.pooled import PooledShare, PoolSize, best_pool_size, pooled_share
from rqa.stats.power_law import PowerLawFit, power_law_fit
from rqa.stats.process_capability import Capability, capability
from rqa.stats.product import ProductInterval, product_interval
from rqa.stats.projection import ProjectedShare, month_spread, projected_share
from rqa.stats.proportion import ProportionInterval, proportion_interval
from rqa.stats.rates import RateRatio, rate_ratio
from rqa.stats.reversal import OrderReversals, order_reversals
from rqa.stats.risk import RelativeRisk, relative_risk
from rqa.stats.sampling import SamplingPlan, SamplingPlanOc, sampling_plan, sampling_plan_oc
from rqa.stats.scanning import Burst, ScanStatistic, scan_statistic
from rqa.stats.service_rates import ReturnRates, return_rates
from rqa.stats.shrinkage import Shrinkage, beta_binomial_shrinkage
from rqa.stats.sigma import SigmaLevel, dpmo_at_sigma, sigma_level
from rqa.stats.signatures import FailureSignatures, failure_signatures
from rqa.stats.space_time import ClosePairs, Knox, ScanProbability, close_pairs, knox_test, scan_probability
from rqa.stats.standardised import StandardisedRatio, standardised_ratio
from rqa.stats.stratified import StratifiedTest, stratified_exact_test
from rqa.stats.trend_tests import TrendTest, laplace_test, mil_hdbk_189_test
from rqa.stats.unequal_draws import HorvitzThompson, draw_chances, horvitz_thompson, systematic_draw
from rqa.stats.unmeasured import EValue, e_value
from rqa.stats.weighted_log_rank import LogRank, log_rank

__all__ = [
    "AmountInterval",
    "AuditSize",
    "Burst",
    "Capability",
    "ChainLadder",
    "ChangePlan",
    "ClosePairs",
    "ClusteredInterval",
    "CohenKappa",
    "ContingencyTest",
    "CumulativeIncidence",
    "CurvePoints",
    "DefectRate",
    "DifferenceInterval",
    "Discoveries",
    "EValue",
    "ExactOddsRatio",
    "ExpectationTest",
    "ExperienceNeeded",
    "FailureSignatures",
    "FaultSensitivity",
    "FleissKappa",
    "FunnelLimits",
    "GaugeStudy",
    "GuardBand",
    "HorvitzThompson",
    "IncidenceContrast",
    "InterruptedSeries",
    "KaplanMeier",
    "Knox",
    "LearningCurve",
    "LevelChange",
    "LimitsTradeoff",
    "LogRank",
    "LookBounds",
    "MantelHaenszel",
    "ManyReturns",
    "Margin",
    "MarginBurst",
    "MarginScan",
    "MaskedCauses",
    "MeanCumulative",
    "MeanCumulativeDifference",
    "MixAndRate",
    "MixExpectation",
    "NetChange",
    "OrderReversals",
    "OtherWork",
    "Overdispersion",
    "PileUp",
    "PoolSize",
    "PooledShare",
    "PowerLawFit",
    "ProductInterval",
    "ProjectedShare",
    "ProportionInterval",
    "ProportionTest",
    "RateChange",
    "RateRatio",
    "RelativeRisk",
    "ReturnRates",
    "ReturnsAhead",
    "SamplingPlan",
    "SamplingPlanOc",
    "ScanProbability",
    "ScanStatistic",
    "Shrinkage",
    "SigmaLevel",
    "SmoothedHazard",
    "SmoothedYield",
    "StandardisedRatio",
    "StratifiedTest",
    "SurestWindow",
    "TrendTest",
    "WorstUnits",
    "benjamini_hochberg",
    "best_pool_size",
    "beta_binomial_shrinkage",
    "beyond_both",
    "capability",
    "chain_ladder",
    "chance_to_see",
    "close_pairs",
    "clustered_interval",
    "cohen_kappa",
    "contingency_test",
    "count_interval",
    "cumulative_incidence",
    "defect_rate",
    "difference_interval",
    "dpmo_at_sigma",
    "draw_chances",
    "e_value",
    "exact_common_odds",
    "expectation_test",
    "expected_from_mix",
    "experience_needed",
    "failure_signatures",
    "fault_sensitivity",
    "fleiss_kappa",
    "funnel_limits",
    "gauge_rr",
    "guard_band",
    "horvitz_thompson",
    "incidence_contrast",
    "interrupted_series",
    "jobs_to_audit",
    "jobs_to_see",
    "kaplan_meier",
    "known_after",
    "knox_test",
    "laplace_test",
    "learning_curve",
    "level_change",
    "limits_tradeoff",
    "log_rank",
    "mantel_haenszel",
    "many_returns",
    "masked_cause_mle",
    "mean_cumulative_difference",
    "mean_cumulative_from_counts",
    "mean_cumulative_function",
    "mean_interval",
    "mil_hdbk_189_test",
    "mix_and_rate",
    "month_spread",
    "net_change",
    "order_reversals",
    "overdispersion",
    "pile_up_test",
    "plan_change",
    "pooled_share",
    "power_law_fit",
    "product_interval",
    "projected_share",
    "proportion_interval",
    "proportion_test",
    "rate_change",
    "rate_ratio",
    "relative_risk",
    "return_rates",
    "returns_ahead",
    "ridge_logit",
    "sampling_plan",
    "sampling_plan_oc",
    "scan_margins",
    "scan_probability",
    "scan_statistic",
    "sigma_level",
    "smoothed_hazard",
    "smoothed_yield",
    "spending_bounds",
    "standardised_ratio",
    "stratified_exact_test",
    "surest_window",
    "systematic_draw",
    "total_interval",
    "worst_units",
    "yield_on_curve",
]
