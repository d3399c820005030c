"""Which time formats the texts of a column are written in; day or month first is decided by the whole column."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

ISO = re.compile(r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d([.]\d+)?)?)?( ?(Z|z|[+-]\d\d(:?\d\d)?))?")
DAY = re.compile(
    r"(?P<ymd>\d{4}(?P<s1>[./-])\d{1,2}(?P=s1)\d{1,2})"
    r"|(?P<xyz>\d{1,2}(?P<s2>[./ -])\d{1,2}(?P=s2)(?:\d{4}|\d{2}))(?!\d)"
    r"|(?P<dby>\d{1,2}(?P<s3>[ ./-])(?P<m3>[A-Za-z]{3,9})[.]?(?P=s3)(?P<y3>\d{4}|\d{2}))(?!\d)"
    r"|(?P<bdy>(?P<m4>[A-Za-z]{3,9}) \d{1,2},? (?P<y4>\d{4}))|(?P<flat>(?:19|20)\d{6})(?!\d{1}(?:\D|$))"
)
CLOCK = re.compile(
    r"(?P<gap>[ T,]*)(?P<h>\d{1,2})(?P<c>[:.h])(?P<m>\d\d)(?:(?P=c)(?P<s>\d\d)(?P<f>[.,]\d+)?)?(?P<p> ?[AaPp][Mm])?"
)
FLAT_CLOCK = re.compile(r"(?P<gap>[ T_-]?)(?P<hm>\d{4})(?P<s>\d\d)?")
OFFSET = re.compile(r" ?(?:Z|[+-]\d\d:?\d\d)")
CLOCK_ALONE = re.compile(r"\d{1,2}:\d\d(:\d\d)?( ?[AaPp][Mm])?")
ENGLISH = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
           "december")
EPOCH = re.compile(r"1\d{9}(\d{3})?")
SERIAL = re.compile(r"[2-6]\d{4}([.,]\d+)?")


@dataclass(frozen=True)
class Shape:
    """One way in which times are written: its format with the day first, and with the month first."""

    day_first: str
    month_first: str

    @property
    def fixed(self) -> bool:
        """Whether only one reading is possible."""
        return self.day_first == self.month_first


def shape_of(text: str) -> Shape | None:
    """How a text is written as a time; None where it is none that is known."""
    if ISO.fullmatch(text):
        return Shape("iso", "iso")
    found = DAY.match(text)
    if found is None:
        return None
    days = _days(found)
    rest = _clock(text[found.end():], flat=found["flat"] is not None)
    if days is None or rest is None:
        return None
    return Shape(days[0] + rest, days[1] + rest)


def _days(found: re.Match[str]) -> tuple[str, str] | None:
    if found["ymd"]:
        form = found["s1"].join(("%Y", "%m", "%d"))
        return form, form
    if found["flat"]:
        return "%Y%m%d", "%Y%m%d"
    if found["xyz"]:
        year = "%Y" if re.search(r"\d{4}$", found["xyz"]) else "%y"
        return found["s2"].join(("%d", "%m", year)), found["s2"].join(("%m", "%d", year))
    month = found["m3"] or found["m4"]
    name = _month_name(month)
    if name is None:
        return None
    if found["dby"]:
        form = found["s3"].join(("%d", name, "%Y" if len(found["y3"]) == 4 else "%y"))
    else:
        form = f"{name} %d{',' if ',' in found['bdy'] else ''} %Y"
    return form, form


def _month_name(word: str) -> str | None:
    if word.lower() in ENGLISH:
        return "%B" if len(word) > 3 else "%b"
    return "%b" if word.lower() in {m[:3] for m in ENGLISH} else None


def _clock(rest: str, *, flat: bool) -> str | None:
    if not rest:
        return ""
    offset = OFFSET.search(rest)
    end = ""
    if offset and offset.end() == len(rest) and offset.start() > 3:
        end = (" " if offset.group().startswith(" ") else "") + "%z"
        rest = rest[: offset.start()]
    if flat and (found := FLAT_CLOCK.fullmatch(rest)):
        return found["gap"] + "%H%M" + ("%S" if found["s"] else "") + end
    found = CLOCK.fullmatch(rest)
    if found is None:
        return None
    hour = "%I" if found["p"] else "%H"
    made = found["gap"] + hour + found["c"] + "%M"
    if found["s"]:
        made += found["c"] + "%S" + (f"{found['f'][0]}%f" if found["f"] else "")
    if found["p"]:
        made += (" " if found["p"].startswith(" ") else "") + "%p"
    return made + end


@dataclass(frozen=True)
class Readings:
    """The readings of a column's texts: with the day first, and with the month first; alike where nothing differs."""

    day_first: tuple[str, ...]
    month_first: tuple[str, ...]
    read: float
    """The share of the texts of the sample that are times at all."""


def readings_of(texts: Sequence[str]) -> Readings | None:
    """How the texts of a sample can be read as times; None where fewer than half are written like any."""
    shapes: dict[Shape, int] = {}
    for text in texts:
        shape = shape_of(text)
        if shape is not None:
            shapes[shape] = shapes.get(shape, 0) + 1
    read = sum(shapes.values())
    if not texts or read < 0.5 * len(texts):
        return None
    common = sorted(shapes, key=lambda s: -shapes[s])
    days = tuple(dict.fromkeys(s.day_first for s in common))
    months = tuple(dict.fromkeys(s.month_first for s in common))
    return Readings(days, months, read / len(texts))
