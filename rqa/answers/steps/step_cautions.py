"""What to be careful of at a step by its hazards, what to look at next by its phase: common practice, no source."""

from collections.abc import Iterable

from rqa.words import listed

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
    "open": "watch it done on five units; compare with the guide's order",
    "isolate": "audit the order in the step logs, job by job",
    "release": "watch it done on five units",
    "remove": "watch it done on five units; look for force and what is held aside",
    "fit": "stop five units between this step and the next; compare with the guide",
    "reseat": "open five finished units",
    "align": "stop five units after this step; compare the order in the logs with the guide's",
    "verify": "have the check done twice, by two people who do not know each other's result",
    "close": "reopen five finished units",
    "diagnose": "run the diagnostics again on five released units",
}
SEEN = {"release": ("the tool used", "what is put under strain"), "reseat": ("the seat",),
        "close": ("what lies under the cover",)}
"""What such a check looks at."""
LOOK_AT = {
    "pinch": "the path of every cable", "latch": "whether the latch is locked", "mixed_fasteners": "fastener lengths",
    "alignment": "alignment after turning the unit over", "adhesive": "the seam", "battery": "the cell's case and lead",
}
"""What a check looks at beside, by hazard of the step."""
OTHERWISE = "read what the returns were found to have; watch five jobs"


def cautions(hazards: Iterable[str]) -> str:
    """The usual cautions for hazards, always with the one that holds everywhere."""
    return "; ".join([*(CAUTIONS[h] for h in hazards if h in CAUTIONS), ALWAYS])


def next_check(phase: str, hazards: Iterable[str] = ()) -> str:
    """What to look at next at a step of this phase with these hazards; nothing that only units of one kind have."""
    seen = [*SEEN.get(phase, ()), *(LOOK_AT[h] for h in hazards if h in LOOK_AT)]
    return CHECKS.get(phase, OTHERWISE) + (f"; look at {listed(seen)}" if seen else "")
