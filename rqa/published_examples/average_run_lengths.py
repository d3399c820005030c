"""Tables of average run lengths: rules, sums and moving averages."""

from typing import Any

from rqa.published_examples.tables import CheckedFigure, printed, significant

SETS = {"C1": (0,), "C12": (0, 1), "C14": (0, 3), "C1234": (0, 1, 2, 3)}


def shewhart(block: dict[str, Any]) -> list[CheckedFigure]:
    """Limits alone and with zone rules, by shift."""
    from rqa.spc import WESTERN_ELECTRIC, ShewhartDesign, run_length

    made = []
    for name, chosen in SETS.items():
        design = ShewhartDesign(rules=[WESTERN_ELECTRIC[i] for i in chosen])
        for shift, mean in zip(block["shift"], block[name], strict=True):
            label = f"rules {', '.join(name[1:])}, shift {shift:g}"
            made.append(printed(label, mean, run_length(design, shift=shift).mean, block["decimals"]))
    return made


def cusum(block: dict[str, Any]) -> list[CheckedFigure]:
    """The tabular CUSUM with and without a headstart, by shift."""
    from rqa.spc import CusumDesign, run_length

    known = {(d["h"], d["headstart"], d["shift"]): d["rounded"] for d in block["differs"]}
    made = []
    for line in block["rows"]:
        design = CusumDesign(k=0.5, h=line["h"], headstart=line["headstart"])
        for shift, mean in zip(block["shift"], line["mean"], strict=True):
            label = f"h {line['h']}, headstart {line['headstart']:g}, shift {shift:g}"
            why = "shown right by plain integrals" if (line["h"], line["headstart"], shift) in known else ""
            made.append(significant(label, mean, run_length(design, shift=shift).mean, block["significant"], why))
    return made


def ewma(block: dict[str, Any]) -> list[CheckedFigure]:
    """The EWMA with settled limits, by shift."""
    from rqa.spc import EwmaDesign, run_length

    known = {(d["weight"], d["shift"]): d["exact"] for d in block["differs"]}
    made = []
    for line in block["rows"]:
        design = EwmaDesign(weight=line["weight"], width=line["width"], limits="asymptotic")
        for shift, text in zip(block["shift"], line["printed"], strict=True):
            label = f"weight {line['weight']}, width {line['width']}, shift {shift:g}"
            exact = known.get((line["weight"], shift))
            why = (
                ""
                if exact is None
                else f"exact is {exact}; printed from a chain of few steps, which gives a little more"
            )
            made.append(printed(label, text, run_length(design, shift=shift).mean, why=why))
    return made


def ewma_quiet(block: dict[str, Any]) -> list[CheckedFigure]:
    """The EWMA of width 3 while nothing changes."""
    from rqa.spc import EwmaDesign, run_length

    return [
        printed(f"weight {line['weight']}", line["mean"],
                run_length(EwmaDesign(weight=line["weight"], width=3.0, limits="asymptotic")).mean, block["decimals"])
        for line in block["rows"]
    ]
