"""The invented depot: its sites, models, subsystems, procedures, tests and parts, as plain data."""

from dataclasses import dataclass


@dataclass(frozen=True)
class DemoSite:
    """One site: its name, its zone, the mark its job numbers begin with, its benches and the hour of its soak timer."""

    name: str
    zone: str
    share: float
    benches: tuple[str, ...]
    soak_hour: int
    """The soak timer starts at half past this hour on Sundays: on two of them the clock skips or repeats that hour."""


SITES = (
    DemoSite("Alder", "Europe/Lisbon", 0.36, ("A-1", "A-2", "A-3", "A-4"), 1),
    DemoSite("Birch", "Europe/Helsinki", 0.32, ("B-1", "B-2", "B-3", "B-4"), 3),
    DemoSite("Cedar", "Europe/Warsaw", 0.32, ("C-1", "C-2", "C-3", "C-4"), 2),
)
BENCHES = tuple(b for s in SITES for b in s.benches)
TECHNICIANS = tuple(f"T{n:02}" for n in range(1, 25))
PER_SITE = 8
"""Technicians of a site: T01 to T08 work at the first, and so on."""

MODELS = ("Marl-8", "Marl-10", "Quern")
MODEL_SHARES = (0.33, 0.45, 0.22)
UNIT_MARKS = ("M8", "M10", "QN")
SUBSYSTEMS = ("main_board", "display", "battery", "antenna", "port", "button", "camera", "case")
TABLET_FAULTS = (0.34, 0.22, 0.15, 0.09, 0.08, 0.06, 0.03, 0.03)
LOGGER_FAULTS = (0.33, 0.0, 0.25, 0.16, 0.14, 0.07, 0.0, 0.05)


@dataclass(frozen=True)
class Step:
    """One step of a procedure; `fails` is the true share of first checks that fail, None where no check is made."""

    step: str
    phase: str
    subsystems: str
    hazards: str = ""
    fails: float | None = None
    opportunities: int = 1
    flag: str = ""
    after: str = ""


PHOTOGRAPH = Step("photograph unit", "open", "case")
CLEAN_CASE = Step("wipe case", "open", "case")
OPEN_CASE = Step("open case", "open", "case", "latch sharp_edge")
ISOLATE = Step("isolate battery", "isolate", "battery", "battery esd", 0.006, flag="hold")
RELEASE_DISPLAY = Step("release display cable", "release", "display", "pinch latch")
RELEASE_ANTENNA = Step("release antenna cable", "release", "antenna", "latch")
RELEASE_CAMERA = Step("release camera cable", "release", "camera", "latch")
RELEASE_PORT = Step("release port cable", "release", "port", "latch")
UNSCREW_BOARD = Step("remove board screws", "remove", "main_board", "mixed_fasteners")
LIFT_BOARD = Step("lift board", "remove", "main_board", "esd adhesive")
READ_IDENTITY = Step("record identity", "verify", "main_board", "", 0.01, flag="hold")
FIT_BOARD = Step("fit board", "fit", "main_board", "esd", 0.02)
WRITE_IDENTITY = Step("write identity", "fit", "main_board", "", 0.015, flag="irreversible", after="record identity")
LAY_CABLES = Step("lay cables clear", "fit", "display antenna", "pinch", 0.03, 4)
RESEAT_PORT = Step("reseat port cable", "reseat", "port", "latch", 0.012)
RESEAT_CAMERA = Step("reseat camera cable", "reseat", "camera", "latch", 0.016)
RESEAT_ANTENNA = Step("reseat antenna cable", "reseat", "antenna", "latch", 0.022)
RESEAT_DISPLAY = Step("reseat display cable", "reseat", "display", "pinch latch", 0.015, 2)
COUNT = Step("count connectors", "verify", "main_board", "", 0.008, 6, "hold")
BOARD_SCREWS = Step("drive board screws", "fit", "main_board", "mixed_fasteners", 0.025, 8)
RECONNECT = Step("reconnect battery", "reseat", "battery", "battery", 0.009, after="count connectors")
CLOSE_CASE = Step("close case", "close", "case", "latch pinch", 0.035)
TIGHTEN = Step("tighten case", "close", "case", "mixed_fasteners", 0.02, 6)
ALIGN = Step("align button", "align", "button", "alignment", 0.05, after="tighten case")
GAPS = Step("check gaps", "verify", "case", "alignment", 0.04, 4)
LABEL = Step("renew label", "close", "case")
INSPECT = Step("inspect unit", "diagnose", "case", "", 0.02, flag="hold")
ENDING = (COUNT, RECONNECT, CLOSE_CASE, TIGHTEN, ALIGN, GAPS, LABEL, INSPECT)

PROCEDURES: dict[str, tuple[Step, ...]] = {
    "main board": (
        PHOTOGRAPH, CLEAN_CASE, OPEN_CASE, ISOLATE, RELEASE_DISPLAY, RELEASE_ANTENNA, RELEASE_CAMERA, RELEASE_PORT,
        UNSCREW_BOARD, LIFT_BOARD, READ_IDENTITY, FIT_BOARD, WRITE_IDENTITY, LAY_CABLES, RESEAT_PORT, RESEAT_CAMERA,
        RESEAT_ANTENNA, RESEAT_DISPLAY, BOARD_SCREWS, *ENDING,
    ),
    "display": (
        PHOTOGRAPH, CLEAN_CASE, OPEN_CASE, ISOLATE, RELEASE_DISPLAY, RELEASE_CAMERA,
        Step("cut old seal", "remove", "display", "adhesive sharp_edge"),
        Step("lift display", "remove", "display", "adhesive sharp_edge heat"),
        Step("clean frame", "fit", "case", "", 0.018),
        Step("lay new seal", "fit", "case", "adhesive", 0.06),
        Step("fit display", "fit", "display", "pinch", 0.028),
        LAY_CABLES, RESEAT_CAMERA, RESEAT_DISPLAY,
        Step("check touch", "verify", "display", "", 0.03),
        Step("press seal", "close", "case", "heat", 0.012),
        Step("set brightness", "verify", "display", "", 0.01),
        *ENDING,
    ),
    "battery": (
        PHOTOGRAPH, CLEAN_CASE, OPEN_CASE, ISOLATE,
        Step("measure old cell", "verify", "battery", "battery", 0.02),
        Step("release battery cable", "release", "battery", "battery"),
        Step("warm cell glue", "remove", "battery", "heat battery adhesive"),
        Step("lift cell", "remove", "battery", "battery adhesive"),
        Step("clean tray", "fit", "case", "", 0.01),
        Step("fit cell", "fit", "battery", "battery adhesive", 0.02),
        Step("reseat battery cable", "reseat", "battery", "battery latch", 0.014),
        Step("measure new cell", "verify", "battery", "battery", 0.03, flag="hold"),
        Step("reseat sensor lead", "reseat", "main_board", "latch", 0.017),
        Step("reset cell counter", "fit", "battery", "", 0.008, flag="irreversible", after="measure new cell"),
        Step("check charging", "verify", "battery port", "", 0.024),
        *ENDING,
    ),
    "radio": (
        PHOTOGRAPH, CLEAN_CASE, OPEN_CASE, ISOLATE, RELEASE_ANTENNA, RELEASE_PORT,
        Step("remove shield", "remove", "antenna", "sharp_edge"),
        Step("remove port frame", "remove", "port", "mixed_fasteners"),
        Step("fit port frame", "fit", "port", "mixed_fasteners", 0.03, 2),
        Step("fit antenna", "fit", "antenna", "adhesive", 0.027),
        Step("fit shield", "fit", "antenna", "sharp_edge", 0.02),
        LAY_CABLES, RESEAT_PORT, RESEAT_ANTENNA,
        Step("measure antenna", "verify", "antenna", "", 0.055),
        Step("check port", "verify", "port", "", 0.026),
        Step("seal port", "close", "port case", "adhesive", 0.018),
        *ENDING,
    ),
    "case": (
        PHOTOGRAPH, CLEAN_CASE, OPEN_CASE, ISOLATE, RELEASE_CAMERA,
        Step("remove camera", "remove", "camera", "esd"),
        Step("remove button", "remove", "button", "latch"),
        Step("remove bumper", "remove", "case", "adhesive"),
        Step("fit bumper", "fit", "case", "adhesive", 0.03),
        Step("fit button", "fit", "button", "latch", 0.036),
        Step("fit camera", "fit", "camera", "esd", 0.022),
        RESEAT_CAMERA,
        Step("check camera", "verify", "camera", "", 0.02),
        Step("check button travel", "verify", "button", "alignment", 0.045),
        Step("seal case", "close", "case", "adhesive", 0.03),
        *ENDING,
    ),
    "logger": (
        PHOTOGRAPH, CLEAN_CASE, OPEN_CASE, ISOLATE, RELEASE_ANTENNA, RELEASE_PORT, UNSCREW_BOARD, LIFT_BOARD,
        READ_IDENTITY, FIT_BOARD, WRITE_IDENTITY,
        Step("fit seal ring", "fit", "case", "adhesive", 0.05),
        Step("set clock", "fit", "main_board", "", 0.012),
        Step("check memory", "verify", "main_board", "", 0.016),
        RESEAT_PORT, RESEAT_ANTENNA, BOARD_SCREWS,
        Step("check seal", "verify", "case", "", 0.07, flag="hold"),
        *ENDING,
    ),
}
PROCEDURE_NAMES = tuple(PROCEDURES)
STEP_NAMES = tuple(dict.fromkeys(s.step for steps in PROCEDURES.values() for s in steps))

PROCEDURE_OF = {
    "tablet": {
        "main_board": "main board", "display": "display", "battery": "battery", "antenna": "radio", "port": "radio",
        "button": "case", "camera": "case", "case": "case",
    },
    "logger": {s: "battery" if s == "battery" else "logger" for s in SUBSYSTEMS},
}
FAULTS = {
    "reseat": ("not seated", "latch open"), "align": ("sticks", "off centre"), "verify": ("out of range", "loose"),
    "fit": ("not flush", "wrong screw"), "close": ("gap", "cable in the way"), "isolate": ("voltage left", "no tag"),
    "diagnose": ("mark left", "loose"),
}
FAULT_NAMES = tuple(dict.fromkeys([f for pair in FAULTS.values() for f in pair] + ["pinched"]))
MEASURED = {"measure old cell": (3.7, 0.08), "measure new cell": (4.1, 0.03), "measure antenna": (52.0, 1.2),
            "check gaps": (0.3, 0.05), "check button travel": (1.1, 0.06)}
"""Steps whose check is a reading: mean and spread."""
TOOLS = ("TD-1", "TD-2", "TD-3", "PR-1", "PR-2")
TOOL_STEPS = {"drive board screws": (0, 3), "tighten case": (0, 3), "press seal": (3, 5), "seal case": (3, 5)}


@dataclass(frozen=True)
class Test:
    """One diagnostic; `fails` is the true share of first runs that fail. `reading` is mean, spread, low, high, unit."""

    test: str
    subsystem: str
    fails: float
    models: str = "tablet logger"
    reading: tuple[float, float, float, float, str] | None = None


DIAGNOSTICS = (
    Test("power on", "main_board", 0.012),
    Test("memory walk", "main_board", 0.01),
    Test("display grid", "display", 0.02, "tablet"),
    Test("touch sweep", "display", 0.026, "tablet"),
    Test("charge rate", "battery", 0.018, reading=(1.8, 0.1, 1.4, 2.2, "A")),
    Test("cell load", "battery", 0.015, reading=(3.9, 0.06, 3.6, 4.2, "V")),
    Test("position fix", "antenna", 0.03, reading=(21.0, 3.0, 5.0, 40.0, "s")),
    Test("radio link", "antenna", 0.02),
    Test("port loop", "port", 0.014),
    Test("button cycle", "button", 0.016),
    Test("camera chart", "camera", 0.012, "tablet"),
    Test("sensor drift", "main_board", 0.019, reading=(0.4, 0.1, 0.0, 0.9, "deg")),
    Test("tone", "main_board", 0.009),
    Test("soak", "main_board", 0.022),
)
TEST_NAMES = tuple(t.test for t in DIAGNOSTICS)
STATIONS = ("S1", "S2", "S3")


@dataclass(frozen=True)
class Part:
    """One part: number, cost, the procedures that fit it and how often."""

    part_no: str
    cost: float
    uses: tuple[tuple[str, float], ...]


PARTS = (
    Part("MB-110", 148.5, (("main board", 1.0), ("logger", 0.55))),
    Part("SN-20", 12.8, (("main board", 1.0), ("logger", 0.55))),
    Part("DP-310", 96.4, (("display", 1.0),)),
    Part("SL-05", 3.25, (("display", 1.0), ("case", 0.6), ("logger", 0.9))),
    Part("BT-42", 27.9, (("battery", 1.0),)),
    Part("AC-31", 6.75, (("main board", 0.5), ("radio", 0.9), ("logger", 0.4))),
    Part("PF-12", 8.4, (("radio", 0.6),)),
    Part("BN-07", 4.1, (("case", 0.7),)),
    Part("CM-18", 31.2, (("case", 0.3),)),
    Part("SC-KIT", 1.15, (("main board", 0.8), ("display", 0.5), ("radio", 0.5), ("case", 0.5), ("logger", 0.6))),
)
PAIRINGS = (("MB-110", "SN-20"),)
"""A part and the part that must be fitted with it: in a share of jobs it is not (see `effects`)."""
