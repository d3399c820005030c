"""The ways in which a job can depart from its procedure: names, words, what to be careful of and to look at."""

BATTERY = ("isolated_late", "reconnected_early")
"""Breaches of the battery's order: listed job by job, never averaged into a share."""
BESIDE = ("no_procedure", "no_log")
"""Jobs that cannot be compared: the reference has no such procedure, or no step of it was logged."""

WORDS = {
    "missing": "a step missing from the log",
    "skipped": "a step or check skipped",
    "left_failed": "a failed check left as it was",
    "out_of_order": "a step before the one it must follow",
    "check_before_tightening": "alignment checked before the final tightening",
    "count_not_done": "connectors not counted",
    "unequal_connectors": "released and reconnected connectors differ",
    "irreversible_before_hold": "an irreversible step before an open hold point",
    "pairing": "a part fitted without the part it requires",
    "isolated_late": "work inside before the battery was isolated",
    "reconnected_early": "battery reconnected before what must come first",
}
"""Every kind in the order in which it is shown, in words."""

CHECKS = {
    "missing": "compare five job sheets with the log: was the step not done, or not written down",
    "skipped": "ask what makes the check hard to do at the bench; never skip a hold point",
    "left_failed": "look for what was done after the failed check and not logged",
    "out_of_order": "walk through the order at the bench; put the sheet in the order of the work",
    "check_before_tightening": "check alignment again on five units after the last screw and after turning them over",
    "count_not_done": "count released and reconnected connectors on five units before they close",
    "unequal_connectors": "open five closed units and count connectors",
    "irreversible_before_hold": "stop before the irreversible step until every hold point before it is passed",
    "pairing": "compare the parts lists with what was fitted on five jobs",
    "isolated_late": "read the list of battery breaches job by job",
    "reconnected_early": "read the list of battery breaches job by job",
}
CAUTION = (
    "a log that departs from the procedure is no proof of harm: order is as the clocks logged it; follow the maker's "
    "service guide and local codes, and skip no hold point and no protective measure"
)
