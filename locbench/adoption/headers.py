"""What the name of a column says: its words, and its unit if it ends in one."""

import re
from dataclasses import dataclass

from locbench.units import UNITS, Dimension, Unit

__all__ = ["HeaderReading", "read_header", "unit_spelled", "words_of"]

_SPELLINGS = {
    "m": ("m", "meter", "meters", "metre", "metres"),
    "cm": ("cm", "centimeter", "centimeters", "centimetre", "centimetres"),
    "mm": ("mm", "millimeter", "millimeters", "millimetre", "millimetres"),
    "in": ("in", "inch", "inches"),
    "ft": ("ft", "foot", "feet"),
    "deg": ("deg", "degs", "degree", "degrees", "°"),
    "rad": ("rad", "rads", "radian", "radians"),
    "turn": ("turns", "rev", "revs", "revolutions"),
    "s": ("s", "sec", "secs", "second", "seconds"),
    "ms": ("ms", "msec", "millis", "millisecond", "milliseconds"),
    "us": ("us", "usec", "micros", "microsecond", "microseconds", "µs", "μs"),
    "ns": ("ns", "nsec", "nanos", "nanosecond", "nanoseconds"),
    "min": ("min", "minutes"),
    "m/s": ("m/s", "mps", "m_s", "m_per_s"),
    "cm/s": ("cm/s", "cmps", "cm_s", "cm_per_s"),
    "mm/s": ("mm/s", "mmps", "mm_s", "mm_per_s"),
    "in/s": ("in/s", "ips", "inps", "in_s", "in_per_s"),
    "ft/s": ("ft/s", "fps", "ftps", "ft_s", "ft_per_s"),
    "deg/s": ("deg/s", "dps", "degps", "deg_s", "deg_per_s", "°/s"),
    "rad/s": ("rad/s", "radps", "rad_s", "rad_per_s"),
    "rpm": ("rpm",),
}
_BY_SPELLING = {spelling: UNITS[symbol] for symbol, spellings in _SPELLINGS.items() for spelling in spellings}
_BRACKETED = re.compile(r"(?P<name>.*?)\s*[\[(<{](?P<inside>[^\[\](){}<>]*)[\])>}]\s*")
_PART = re.compile(r"[\s_]+")
# small letters are those of all alphabets: "Zähler" is one word
_WORD = re.compile(r"[A-Z]+(?![^\W\d_A-Z])|[A-Z]?[^\W\d_A-Z]+|\d+")
_MOST_PARTS = 3


@dataclass(frozen=True)
class HeaderReading:
    """The words of a name in lower case without its unit, the unit if one is known, and how it is spelled."""

    words: tuple[str, ...]
    unit: Unit | None
    spelled: str | None

    @property
    def dimension(self) -> Dimension | None:
        """What the unit measures."""
        return None if self.unit is None else self.unit.dimension


def unit_spelled(text: str) -> Unit | None:
    """Return the unit that a text spells, or None."""
    return _BY_SPELLING.get(text.strip().lower())


def words_of(text: str) -> tuple[str, ...]:
    """Return the words of a name in lower case: parted by anything but letters, by digits and by capitals."""
    return tuple(word.lower() for word in _WORD.findall(text))


def read_header(name: str, unit_row: str | None = None) -> HeaderReading:
    """Return what a column's name says.

    Parameters
    ----------
    name
        Such as "t [ms]", "x (in)", "heading_deg", "xMm" or "t/ms".
    unit_row
        The unit written below it, if the file has such a line.
    """
    if unit_row is not None and unit_spelled(unit_row):
        return HeaderReading(words_of(name), unit_spelled(unit_row), unit_row)
    bracketed = _BRACKETED.fullmatch(name)
    if bracketed and bracketed["name"]:
        unit = unit_spelled(bracketed["inside"])
        extra = () if unit else words_of(bracketed["inside"])
        return HeaderReading((*words_of(bracketed["name"]), *extra), unit, bracketed["inside"].strip() or None)
    return _ending_in_unit(name) or HeaderReading(words_of(name), None, None)


def _ending_in_unit(name: str) -> HeaderReading | None:
    """Return the reading of a name whose last parts spell a unit, the longest ending first."""
    parts = _PART.split(name.strip())
    for count in range(min(_MOST_PARTS, len(parts)), 0, -1):
        ending = "_".join(parts[-count:])
        unit = unit_spelled(ending)
        # a column called "ms" is a time; one called "m" or "in" may be anything
        alone = count == len(parts)
        if unit and (not alone or (unit.dimension is Dimension.TIME and len(ending) > 1)):
            return HeaderReading(words_of(" ".join(parts[:-count])), unit, ending)
    before, slash, after = name.rpartition("/")
    if slash and before.strip() and unit_spelled(after):
        return HeaderReading(words_of(before), unit_spelled(after), after.strip())
    camel = re.fullmatch(r"(?P<name>.*[a-z0-9])(?P<unit>[A-Z][a-z]*)", name)
    if camel and unit_spelled(camel["unit"]):
        return HeaderReading(words_of(camel["name"]), unit_spelled(camel["unit"]), camel["unit"])
    return None
