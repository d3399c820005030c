"""Words of remarks that answers and pages know, too."""

NO_UNIT_TWICE = "no unit appears in more than one job"
"""Said of a store in which every unit is seen once: nothing can be told of come-backs then."""
NO_UNIT_TWICE_NEXT = (
    "Either nothing has come back yet, or unit_id holds the wrong column or one that differs from visit to visit. "
    "Compare a serial number that you know to have returned, and correct unit_id in the mapping."
)
UNKNOWN = (
    "unknown step", "unknown test", "unknown model", "unknown site", "unknown procedure",
    "goal of no measure that is known", "dated after the load",
)
"""Remarks on a value, of which each value is one."""
EMPTIED_BEGINS = "sql for"
