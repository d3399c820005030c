"""What to be careful of at a step by its hazards, what to look at next by its phase: common practice, no source."""

from collections.abc import Iterable

ALWAYS = "follow the maker's service guide and local codes; no figure justifies skipping a hold point or a guard"
CAUTIONS = {
    "battery": "battery: isolated first, reconnected last; a swollen or damaged cell is for trained staff only",
    "esd": "static: earthed bench and wrist before the board is touched",
    "sharp_edge": "sharp edges: gloves and eye protection; no force",
    "heat": "heat: the guide's temperature and time; never on a cell without its guide",
    "pinch": "pinched cable: see every cable clear before anything closes over it",
    "adhesive": "adhesive: peeled slowly with a flat tool; no prying against cable, cell or board",
    "latch": "latch: seen locked, not only felt",
    "mixed_fasteners": "screws of two lengths: laid out by place, counted back in",
    "alignment": "alignment: checked before the last screw, after it, and after turning the unit over",
}
CHECKS = {
    "open": "watch five units opened; compare with the guide's order",
    "isolate": "audit the order in the step logs, job by job",
    "release": "watch five releases; look for the tool used and the bend of the cable",
    "remove": "watch five removals; look for force and what is held aside",
    "fit": "take five fitted units apart before they close; look at seat and fasteners",
    "reseat": "open five closed units and look at connector, latch and cable path",
    "align": "check the order in the logs against the last tightening; look at five after turning over",
    "verify": "have the check done twice, by two people who do not know each other's result",
    "close": "reopen five closed units; look for cables in the way and fastener lengths",
    "diagnose": "run the diagnostics again on five released units",
}
OTHERWISE = "read what the returns were found to have; watch five jobs"


def cautions(hazards: Iterable[str]) -> str:
    """The usual cautions for hazards, always with the one that holds everywhere."""
    return "; ".join([*(CAUTIONS[h] for h in hazards if h in CAUTIONS), ALWAYS])


def next_check(phase: str) -> str:
    """What to look at next at a step of this phase."""
    return CHECKS.get(phase, OTHERWISE)
