"""One ordinary call of every public function of `rqa.stats` and `rqa.spc`, and of every type that a user makes.

A new public function must have its call here (`test_hostile_calls.py` says so); it is then asked with hostile values,
argument by argument.
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from rqa import spc, stats

DAYS = {"day": [5, 20, 30], "returned": [40, 30, 0], "censored": [0, 0, 930]}
GROUPS = {"day": [5, 20, 30], "returned": [[40, 30, 0], [30, 20, 4]], "censored": [[0, 0, 930], [10, 0, 936]]}
FUNCTION = {"unit": [1, 1, 2], "time": [3, 9, 5], "end": {1: 20, 2: 20, 3: 20, 4: 18}}
LIFE = {"time": [5.0, 40.0, 43.0, 175.0, 389.0, 712.0], "end": 1500.0}
FOUR, SIX, STORM = slice(0, 4), slice(0, 6), {1: "storm"}
SHARES = {"count": [3, 4, 2, 9, 3, 5, 4, 3], "size": [90, 100, 95, 99, 80, 120, 90, 100]}
MANY_SHARES = {name: [counts] for name, counts in SHARES.items()}
VALUES = [1.0, 2.0, 1.5, 2.5, 1.0, 4.0, 2.0, 1.5]
ROWS = [[1.0, 2.0, 1.5], [2.0, 2.5, 1.0], [1.5, 1.0, 3.0], [2.0, 1.0, 1.5]]
CURVE = {"experience": [1, 2, 4, 8, 16, 32], "passed": [5, 6, 6, 8, 9, 9], "checked": [10] * 6}
TRIANGLE = [[10, 18, 20], [12, 20, None], [8, None, None]]
SCANNED = {"events": [2, 3, 2, 1, 9, 2, 1, 3], "work": [100.0] * 8, "period": [0, 1, 2, 3] * 2}
LOTS = {
    "events": [2, 3, 2, 1, 11, 9, 2, 1], "work": [40.0, 50.0, 40.0, 30.0, 40.0, 45.0, 45.0, 30.0],
    "period": [0, 1, 2, 3, 2, 3, 4, 5], "group": ["K1"] * 4 + ["K2"] * 4,
}


def curve() -> Any:
    return stats.learning_curve(**CURVE)


def km() -> Any:
    return stats.kaplan_meier(**DAYS)


def chart() -> Any:
    return spc.p_chart(**SHARES)


def change() -> Any:
    return stats.rate_change(returned_before=[30, 12], before=[400, 300], returned_after=[9, 5], after=[260, 240])


STUDY = [[[5.01, 5.03], [5.06, 5.05]], [[5.42, 5.40], [5.43, 5.46]], [[4.80, 4.83], [4.86, 4.84]]]
ORDINARY: dict[str, dict[str, Any]] = {
    "benjamini_hochberg": {"p_values": [0.01, 0.2, 0.03], "allowed": 0.05},
    "best_pool_size": {"prevalence": [0.01, 0.2]},
    "beta_binomial_shrinkage": {"successes": [3, 4, 9], "trials": [90, 80, 70], "method": "integrated", "level": 0.95},
    "beyond_both": {"one": [2.0, -1.0], "two": [1.0, -3.0]},
    "capability": {"values": VALUES, "lower_limit": 0.0, "upper_limit": 6.0, "method": "normal", "level": 0.95},
    "chain_ladder": {"cumulative": TRIANGLE, "level": 0.95},
    "chance_to_see": {
        "rate": 0.06, "ratio": 0.5, "before": 800, "after": [100, 400], "bound": 2.0, "level": 0.95,
        "other": stats.OtherWork(0.05, 500, 0.5),
    },
    "close_pairs": {"day": [1, 2, 2, 30], "kind": ["a", "a", "b", "a"], "within": 3.0},
    "clustered_interval": {"successes": [4, 0, 3, 0, 5], "trials": [5, 4, 6, 5, 6], "level": 0.95},
    "cohen_kappa": {"table": [[45, 3], [5, 17]], "weights": "none", "level": 0.95},
    "contingency_test": {"table": [[30, 10, 4], [20, 25, 15]], "method": "monte-carlo", "draws": 199, "seed": 0},
    "count_interval": {"mean": [10.0, 4.0], "variance": [25.0, 4.0], "level": 0.95},
    "cumulative_incidence": {
        "day": [5, 20, 30], "returned": [[4, 2], [3, 1], [0, 1]], "censored": [0, 0, 90],
        "variance": "greenwood", "level": 0.95,
    },
    "defect_rate": {"defects": [3, 4], "exposures": [90, 80], "opportunities": [5.0, 6.0], "level": 0.95},
    "difference_interval": {
        "successes1": [3, 4], "trials1": [9, 8], "successes2": [1, 2], "trials2": [7, 6], "level": 0.95,
    },
    "dpmo_at_sigma": {"sigma": [3.0, 4.5], "shift": 1.5},
    "draw_chances": {"size": [0.1, 0.2, 0.05], "draws": 2, "uniform": 0.25},
    "e_value": {"estimate": [3.9, 0.5], "low": [1.8, 0.3], "high": [8.7, 0.8], "measure": "odds", "common": True},
    "exact_common_odds": {"tables": [[[3, 1], [1, 3]], [[4, 2], [2, 5]]], "level": 0.95},
    "expectation_test": {"observed": [19, 3], "expected": [10.0, 4.0], "variance": [8.0, 9.0]},
    "expected_from_mix": {"events": [[2, 30], [18, 10]], "trials": [[20, 100], [180, 20]]},
    "experience_needed": {"curve": curve(), "target": 0.8},
    "failure_signatures": {
        "marks": [[1, 1, 0, 0], [1, 1, 1, 0], [0, 0, 1, 1], [0, 0, 0, 1]], "weights": [20, 4, 9, 7], "max_groups": 3,
        "resamples": 5, "seed": 0,
    },
    "family_limits": {
        "events": [40.0, 12.5], "chance": [0.08, 0.05], "variance": [0.0, 0.05], "alarms": [0.1, 0.2],
        "odds_ratio": 2.0,
    },
    "fault_sensitivity": {
        "caught": [9, 3], "escaped": [1, 2], "caught_unverified": [1, 0], "escaped_unverified": [0, 1],
        "method": "wilson", "level": 0.95,
    },
    "fleiss_kappa": {"table": [[3, 0], [2, 1], [0, 3], [1, 2]], "level": 0.95},
    "funnel_limits": {"trials": [20, 100], "centre": 0.1, "level": 0.95, "dispersion": 1.2},
    "gauge_rr": {"values": STUDY, "method": "anova", "interaction": "tested", "tolerance": 1.0, "level": 0.95},
    "guard_band": {
        "sigma": 0.1, "lower_limit": 3.0, "upper_limit": 5.0, "risk": 0.05, "mean": 4.5, "spread": 0.3,
    },
    "held_sums": {"weights": [[1.0, -0.5, 2.0], [0.5, 0.25, -1.0]], "limit": [3.0, 2.5]},
    "horvitz_thompson": {
        "found": [1, 0, 1, 0], "chance": [0.5, 0.5, 0.25, 0.25], "least_chance": 0.2, "most": 22.0, "level": 0.95,
    },
    "incidence_contrast": {"one": km(), "two": km(), "day": 25.0},
    "interrupted_series": {
        "count": [8, 9, 7, 10, 8, 9, 3, 4, 3, 5], "size": [100] * 10, "first_after": 6, "place": list(range(10)),
        "level": 0.95,
    },
    "jobs_to_audit": {"fraction": [0.01, 0.1], "chance": 0.95, "lot": 500},
    "jobs_to_see": {"rate": 0.06, "ratio": 0.5, "before_per_after": 1.0, "power": 0.8, "level": 0.95},
    "kaplan_meier": {**DAYS, "level": 0.95},
    "known_after": {"rate": 0.06, "before": 800.0, "after": [100, 400], "other": stats.OtherWork(0.05, 500, 0.5)},
    "knox_test": {"pairs": [4560], "close_in_time": [152], "close_in_kind": [25], "both": [5]},
    "laplace_test": {**LIFE, "truncation": "time"},
    "learning_curve": {**CURVE, "level": 0.95},
    "level_change": {
        "count": [11, 9, 12, 10, 13, 9, 11, 4, 5, 3, 4], "size": [100] * 11, "recent": 6,
        "dispersion": 1.2, "level": 0.95,
    },
    "limits_tradeoff": {
        "value": [1.0, 2.0, 3.0], "faulty": [1, 1, 4], "sound": [200, 90, 10], "side": "upper", "level": 0.95,
    },
    "log_rank": {**GROUPS, "weights": "log-rank", "rho": 1.0, "gamma": 0.0},
    "mantel_haenszel": {"tables": [[[3, 10], [1, 30]], [[4, 20], [2, 50]]], "measure": "odds", "level": 0.95},
    "many_returns": {
        "returns": [0, 1, 2, 5], "expected": [0.1] * 4, "jobs": [1, 2, 3, 6], "units": [9050, 900, 49, 1],
    },
    "masked_cause_mle": {
        "exposures": [[1, 1], [1, 0]], "jobs": [2000, 1000], "pattern": [0, 0, 1],
        "candidates": [[1, 1], [0, 1], [1, 0]], "comebacks": [40, 10, 5], "likelihood": "job", "level": 0.95,
    },
    "mean_cumulative_difference": {
        "one": stats.mean_cumulative_function(**FUNCTION), "two": stats.mean_cumulative_function(**FUNCTION),
    },
    "mean_cumulative_from_counts": {
        "day": [8, 30, 40], "ended": [0, 0, 4], "returned": [[0, 0, 2], [0, 0, 1], [0, 0, 0]],
        "pairs": [[0, 1, 0], [0, 0, 0], [0, 0, 0]], "level": 0.95,
    },
    "mean_cumulative_function": {**FUNCTION, "variance": "robust", "level": 0.95},
    "mean_interval": {
        "number": [8], "total": [480.0], "squares": [48450.0], "cubes": [6957000.0], "level": 0.95,
    },
    "mil_hdbk_189_test": {**LIFE, "truncation": "time"},
    "mix_and_rate": {
        "events1": [3, 9], "cases1": [90, 80], "events2": [5, 6], "cases2": [60, 95], "interaction": "apart",
        "squares1": [90, 80], "squares2": [120, 190], "effect1": [1.0, 1.2], "effect2": 1.3, "level": 0.95,
    },
    "month_spread": {"returned": [20, 55, 31, 62], "jobs": [500] * 4},
    "net_change": {"own": change(), "other": change()},
    "order_reversals": {
        "raw": [0.1, 0.2, 0.3], "adjusted": [0.2, 0.1, 0.3], "raw_error": [0.01] * 3, "adjusted_error": [0.01] * 3,
        "level": 0.95,
    },
    "overdispersion": {
        "observed": [9, 3, 4, 8], "expected": [6.0, 5.0, 6.0, 7.0], "variance": [6.0, 5.0, 5.0, 7.0], "winsorise": 0.1,
    },
    "pile_up_test": {"nearest": [60], "second": [38], "third": [70]},
    "plan_change": {
        "rate": 0.06, "ratio": 0.5, "before": 800.0, "jobs_per_look": 60.0, "looks": 4, "power": 0.8, "level": 0.95,
        "other": stats.OtherWork(0.05, 500, 0.5),
    },
    "pooled_share": {"positive": [3, 1], "pools": [20, 10], "size": [5, 4], "method": "wilson", "level": 0.95},
    "power_law_fit": {**LIFE, "truncation": "time", "scales": "common", "level": 0.95},
    "product_interval": {
        "successes": [90, 80], "trials": [100, 90], "method": "mover", "level": 0.95, "design_effect": 1.2,
    },
    "projected_share": {
        "day": [5, 10, 30], "returned": [6, 0, 0], "censored": [20, 60, 14], "pooled": km(), "window": 30.0,
        "month_spread": 0.1, "level": 0.95,
    },
    "proportion_interval": {
        "successes": [3, 4], "trials": [9, 8], "method": "wilson", "level": 0.95, "design_effect": [1.2, 1.0],
    },
    "proportion_test": {"successes1": [3, 4], "trials1": [9, 8], "successes2": [1, 2], "trials2": [7, 6]},
    "rate_change": {
        "returned_before": [30, 12], "before": [400, 300], "returned_after": [9, 5], "after": [260, 240], "level": 0.95,
    },
    "rate_ratio": {
        "events1": [41, 3], "exposure1": [28.0, 7.0], "events2": [15, 4], "exposure2": [19.0, 6.0], "method": "exact",
        "level": 0.95,
    },
    "relative_risk": {
        "exposed_events": [9, 3], "exposed_total": [90, 80], "unexposed_events": [4, 5], "unexposed_total": [70, 60],
        "method": "katz", "level": 0.95,
    },
    "return_rates": {"returns": [3, 4, 2], "units": [90, 80, 200], "months": 1.0, "level": 0.95},
    "sampling_plan": {"good": 0.01, "bad": 0.08, "good_refused": 0.05, "bad_accepted": 0.1, "lot": 500},
    "sampling_plan_oc": {"n": 52, "c": 3, "fraction": [0.01, 0.03], "lot": 1000},
    "scan_margins": {
        "margins": {"lot": stats.Margin(**LOTS)},
        "likelihood": "poisson", "longest": 3, "beside": 3, "fewest": 3, "limit": 2, "simulations": 9, "enough": 3,
        "seed": 0,
    },
    "scan_probability": {"events": [8], "fullest": [5], "window": [0.2]},
    "scan_statistic": {
        **SCANNED, "groups": {"bench": ["B1"] * 4 + ["B2"] * 4}, "likelihood": "bernoulli", "longest": 3, "fewest": 2,
        "limit": 2, "simulations": 9, "enough": 3, "seed": 0,
    },
    "sigma_level": {"dpmo": [3.4, 6210.0], "shift": 1.5},
    "smoothed_hazard": {
        "day": [0, 1, 2, 3], "returned": [9, 6, 3, 2], "censored": [0, 0, 0, 90], "bandwidth": 2.0, "level": 0.95,
    },
    "smoothed_yield": {**CURVE, "at": [1.0, 5.0, 30.0], "width": 0.5, "level": 0.95},
    "spending_bounds": {"information": [1.0, 2.0, 3.0], "planned": 4.0, "level": 0.95},
    "standardised_ratio": {"observed": [9, 3], "expected": [6.0, 4.0], "method": "exact", "level": 0.95},
    "stratified_exact_test": {"events": [[2, 30], [18, 10]], "trials": [[20, 100], [180, 20]]},
    "surest_window": {"smallest": [0.01], "information": [[40, 90, 200]], "sides": 1},
    "systematic_draw": {"chance": [0.9, 0.5, 0.3, 0.3], "seed": 0},
    "total_interval": {"total": [1000.0], "squares": [14000.0], "largest": [20.0], "level": 0.95},
    "worst_units": {
        "returns": [0, 1, 2, 5], "units": [9050, 900, 49, 1], "fraction": [0.01, 0.1], "expected": [0.1] * 4,
    },
    "yield_on_curve": {"curve": curve(), "experience": [1.0, 10.0]},
    "bernoulli_cusum": {"event": [0, 1, 0, 0, 1], "p0": 0.05, "p1": 0.1, "h": 3.0, "headstart": 0.0},
    "bernoulli_weights": {"p0": 0.05, "p1": 0.1},
    "c_chart": {"count": [3, 4, 2, 9, 3], "limits": "normal", "baseline": FOUR, "stages": [2], "set_aside": STORM},
    "constants": {"n": 5},
    "cusum_chart": {"values": VALUES, "target": 2.0, "sigma": 1.0, "k": 0.5, "h": 4.0, "headstart": 0.0},
    "ewma_chart": {
        "values": VALUES, "weight": 0.2, "width": 3.0, "target": 2.0, "sigma": 1.0, "limits": "exact",
    },
    "false_alarm_chance": {"rules": spc.MONTHLY, "points": 12, "width": 3.0, "charts": 2},
    "g_chart": {"gaps": [3, 40, 2, 9, 33], "limits": "normal", "baseline": FOUR, "stages": [2], "set_aside": STORM},
    "individuals_chart": {"values": VALUES, "baseline": SIX, "stages": [4], "set_aside": STORM},
    "laney_p_chart": {**SHARES, "baseline": SIX, "stages": [4], "set_aside": STORM},
    "laney_u_chart": {**SHARES, "baseline": SIX, "stages": [4], "set_aside": STORM},
    "limit_for": {"design": spc.CusumDesign(), "run_length": 100.0},
    "nelson": {"chart": chart()},
    "np_chart": {"count": [3, 4, 2, 9, 3], "size": [90] * 5, "limits": "normal", "baseline": FOUR, "stages": [2]},
    "p_chart": {**SHARES, "limits": "normal", "baseline": SIX, "stages": [4], "set_aside": STORM},
    "p_charts": {**MANY_SHARES, "limits": "normal", "baseline": SIX, "stages": [4]},
    "periods_to_detect": {
        "design": spc.EwmaDesign(weight=0.2), "before": 0.05, "after": 0.1, "size": 200, "chance": 0.9,
    },
    "ridge_logit": {"marks": [[0, 1], [1, 0], [1, 1]], "events": [3, 4, 9], "cases": [50, 40, 60], "penalty": 2.0},
    "returns_ahead": {"at_risk": [100, 100, 90], "returned": [0, 10, 9], "out": [[20, 0, 0], [5, 4, 3]], "ahead": 2},
    "risk_adjusted_cusum": {
        "outcome": [0, 1, 0, 0, 1], "expected": [0.1, 0.2, 0.05, 0.1, 0.3], "odds_ratio": 2.0, "h": 4.5,
        "headstart": 0.0,
    },
    "run_length": {"design": spc.CusumDesign(), "shift": 0.5, "spread": 1.1},
    "share_shift": {"before": 0.05, "after": 0.1, "size": 200},
    "signal_masks": {"chart": chart(), "rules": spc.MONTHLY},
    "t_chart": {"gaps": [3.0, 40.0, 2.0, 9.0], "power": 0.2777, "baseline": slice(0, 3), "stages": [2]},
    "u_chart": {**SHARES, "limits": "normal", "baseline": SIX, "stages": [4], "set_aside": STORM},
    "u_charts": {**MANY_SHARES, "limits": "normal", "baseline": SIX, "stages": [4]},
    "western_electric": {"chart": chart()},
    "beyond_limits": {"chart": chart()},
    "which_chart": {"kind": "share", **SHARES},
    "xbar_r_chart": {"subgroups": ROWS, "baseline": slice(0, 3), "stages": [2]},
    "xbar_s_chart": {"subgroups": ROWS, "baseline": slice(0, 3), "stages": [2]},
    # Types that a user makes.
    "BernoulliDesign": {"p0": 0.05, "p1": 0.1, "h": 3.0, "headstart": 0.0},
    "CusumDesign": {"k": 0.5, "h": 5.0, "headstart": 0.0, "arms": "both"},
    "EwmaDesign": {"weight": 0.2, "width": 3.0, "limits": "exact"},
    "Margin": {**LOTS, "cases": [4, 5, 4, 3, 12, 10, 4, 3]},
    "NormalPoints": {"shift": 0.0, "spread": 1.0},
    "OtherWork": {"rate": 0.05, "before": 500.0, "per_job": 0.5},
    "RiskAdjustedDesign": {"expected": [0.1, 0.2], "odds_ratio": 2.0, "h": 4.5, "headstart": 0.0},
    "SharePoints": {"size": 200, "centre": 0.05, "share": 0.1},
    "ShewhartDesign": {"rules": spc.MONTHLY, "width": 3.0},
    "TrendRule": {"name": "six in a row", "length": 6},
    "ZoneRule": {"name": "two of three", "need": 2, "out_of": 3, "beyond": 2.0},
}
"""By name, the arguments of a call that answers."""


def functions() -> dict[str, Callable[..., Any]]:
    """The public functions of both rooms, found by looking, and the types of the table."""
    rooms = [(name, getattr(room, name)) for room in (stats, spc) for name in room.__all__]
    made = {name: one for name, one in rooms if callable(one) and (not isinstance(one, type) or name in ORDINARY)}
    return {**made, "Margin": scan_of_one_margin}


def scan_of_one_margin(**fields: Any) -> Any:
    """A margin is looked at when it is scanned."""
    return stats.scan_margins({"lot": stats.Margin(**fields)}, longest=3, beside=3, simulations=9, enough=3)


def result_arrays(answer: Any) -> dict[str, Any]:
    """The numbers of an answer by the name of their field, those of answers within it too."""
    if isinstance(answer, int | float | np.ndarray):
        return {"": np.asarray(answer)}
    if isinstance(answer, tuple | list):
        return {f"{i}.{name}": a for i, one in enumerate(answer) for name, a in result_arrays(one).items()}
    if not hasattr(answer, "__dataclass_fields__"):
        return {}
    found: dict[str, Any] = {}
    for field in answer.__dataclass_fields__:
        for name, a in result_arrays(getattr(answer, field)).items():
            found[f"{field}.{name}" if name else field] = a
    return found
