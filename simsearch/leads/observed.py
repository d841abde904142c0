"""What somebody observed on the object and a photo cannot show.

Each observation is optional. What they do to the odds stands in ``refine`` and, number by
number, in ``rules``. A wrong value is refused here, with what to write instead, so that nothing
further on has to guess what was meant.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from simsearch.errors import DateError, ObservationError
from simsearch.sets.dates import DateRange, parse_edtf

STATES = ("whole", "broken")
FIXINGS = ("sprung", "hinged", "none")
COMPLETENESS = ("complete", "half or more", "less than half")
MATERIALS = (
    "copper alloy", "iron", "lead", "tin alloy", "silver", "gold", "bone", "stone",
    "fired clay", "glass",
)  # fmt: skip
SURFACES = ("tinned", "gilt", "silvered", "enamelled", "inlaid", "none seen")

SAME_MATERIAL: Mapping[str, str] = {
    "bronze": "copper alloy", "brass": "copper alloy", "copper": "copper alloy",
    "gunmetal": "copper alloy", "latten": "copper alloy", "steel": "iron", "pewter": "tin alloy",
    "tin": "tin alloy", "antler": "bone", "ivory": "bone", "clay": "fired clay",
    "pottery": "fired clay",
}  # fmt: skip
"""Words that people use for one of ``MATERIALS``."""
SAME_SURFACE: Mapping[str, str] = {
    "tinning": "tinned", "gilded": "gilt", "gilding": "gilt", "silver plated": "silvered",
    "silver-plated": "silvered", "enamel": "enamelled", "niello": "inlaid", "inlay": "inlaid",
    "none": "none seen", "plain": "none seen",
}  # fmt: skip

PERIODS: Mapping[str, str] = {
    "bronze age": "-2199~/-0799~",
    "iron age": "-0799~/0043",
    "roman": "0043/0410~",
    "early anglo-saxon": "0410~/0650~",
    "anglo-saxon": "0410~/1066",
    "early medieval": "0410~/1066",
    "viking": "0793~/1066",
    "medieval": "1066/1540~",
    "post-medieval": "1540~/1800~",
    "modern": "1800~/..",
}
"""Periods in words, as they are commonly dated in Britain; common practice, from memory."""

_LONGEST_MM, _HEAVIEST_G = 2000.0, 20_000.0


@dataclass(frozen=True)
class Measure:
    """A measured distance in millimetres.

    ``error_mm`` is how far off it may well be. ``state`` is "broken" where the object is broken
    across this distance, so that it once was at least so long.
    """

    value: float
    error_mm: float = 1.0
    state: str = "whole"

    def __post_init__(self) -> None:
        _number("measurement", self.value, _LONGEST_MM, "mm")
        if not (math.isfinite(self.error_mm) and 0 <= self.error_mm <= self.value):
            raise ObservationError(
                f"An error of {self.error_mm:g} mm does not go with {self.value:g} mm.",
                hint="Give the error in millimetres, from 0 up to the measurement itself.",
            )
        if self.state not in STATES:
            raise _unknown("state of a measurement", self.state, STATES)


@dataclass(frozen=True)
class Observed:
    """What was observed on the object; ``None`` for what was not.

    ``length_mm`` is the longest straight distance across the object, for round things the
    diameter; ``weight_g`` is in grams. ``material``, ``surface`` and ``fixing`` are one of
    ``MATERIALS``, ``SURFACES`` and ``FIXINGS`` (other usual words for these are understood).
    ``nearby`` is when the things found close by were made.
    Raises ``ObservationError`` for values that cannot be, or that contradict each other.
    """

    length_mm: Measure | None = None
    width_mm: Measure | None = None
    thickness_mm: Measure | None = None
    weight_g: float | None = None
    material: str | None = None
    fixing: str | None = None
    surface: str | None = None
    completeness: str | None = None
    nearby: DateRange | None = None

    def __post_init__(self) -> None:
        for name in ("length_mm", "width_mm", "thickness_mm"):
            given = getattr(self, name)
            if given is not None and not isinstance(given, Measure):
                raise ObservationError(
                    f"{name} is {given!r}, not a measurement.", hint="Give Measure(mm, error, ...)."
                )
        if self.nearby is not None and not isinstance(self.nearby, DateRange):
            raise ObservationError(
                f"The dates of things nearby are {self.nearby!r}, not a date range.",
                hint="Make one with nearby_dates('roman') or nearby_dates('0043/0410').",
            )
        if self.weight_g is not None:
            _number("weight", self.weight_g, _HEAVIEST_G, "g")
        self._choose("material", MATERIALS, SAME_MATERIAL)
        self._choose("surface", SURFACES, SAME_SURFACE)
        self._choose("fixing", FIXINGS, {})
        self._choose("completeness", COMPLETENESS, {})
        measures = (self.length_mm, self.width_mm, self.thickness_mm)
        if self.completeness == "complete" and any(m and m.state == "broken" for m in measures):
            raise ObservationError(
                "A measurement is said to be broken and the object to be complete.",
                hint="Say which of the two holds.",
            )
        if self.length_mm and self.width_mm and self._too_wide(self.length_mm, self.width_mm):
            raise ObservationError(
                f"The width ({self.width_mm.value:g} mm) is more than the length "
                f"({self.length_mm.value:g} mm).",
                hint="The length is the longest straight distance across the object.",
            )

    def _choose(self, name: str, choices: tuple[str, ...], same: Mapping[str, str]) -> None:
        given = getattr(self, name)
        if given is None:
            return
        if not isinstance(given, str):
            raise _unknown(name, repr(given), choices)
        word = " ".join(given.casefold().replace("_", " ").split())
        word = same.get(word, word)
        if word not in choices:
            raise _unknown(name, given, choices)
        object.__setattr__(self, name, word)

    @staticmethod
    def _too_wide(length: Measure, width: Measure) -> bool:
        return width.value - width.error_mm > length.value + length.error_mm

    @property
    def broken(self) -> bool:
        """Whether the object is known to be broken."""
        measures = (self.length_mm, self.width_mm, self.thickness_mm)
        return self.completeness in COMPLETENESS[1:] or any(
            measure is not None and measure.state == "broken" for measure in measures
        )

    @property
    def given(self) -> tuple[str, ...]:
        """The names of what was observed, in a fixed order."""
        return tuple(name for name in self.__dataclass_fields__ if getattr(self, name) is not None)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON, only of what was observed."""
        plain: dict[str, Any] = {}
        for name in self.given:
            value = getattr(self, name)
            if isinstance(value, Measure):
                plain[name] = {
                    "value": value.value, "error_mm": value.error_mm, "state": value.state,
                }  # fmt: skip
            elif isinstance(value, DateRange):
                plain[name] = {"edtf": value.edtf, "words": value.words()}
            else:
                plain[name] = value
        return plain


@dataclass(frozen=True)
class Reason:
    """What one observation says about one lead.

    ``factor`` is how many times likelier the observation is for this type than for the types of
    the set taken together: above 1 it speaks for the lead, below 1 against it.
    """

    observation: str
    factor: float
    words: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {"observation": self.observation, "factor": self.factor, "words": self.words}


def nearby_dates(text: str) -> DateRange:
    """Read a period in words ("Roman") or years ("0043/0410"), for ``Observed.nearby``.

    Raises ``ObservationError`` naming the periods that are known.
    """
    word = " ".join(text.casefold().replace("_", " ").split())
    try:
        return parse_edtf(PERIODS.get(word, text))
    except DateError as error:
        raise ObservationError(
            f"'{text}' is no period known here and no range of years.",
            hint=f"Write one of {', '.join(PERIODS)}; or years such as 0043/0410. {error.hint}",
        ) from error


def _number(what: str, value: float, most: float, unit: str) -> None:
    good = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not good or not math.isfinite(value) or not 0 < value <= most:
        raise ObservationError(
            f"A {what} of {value!r} {unit} cannot be.",
            hint=f"Give a number of {unit} above 0 and up to {most:g}.",
        )


def _unknown(what: str, given: str, choices: tuple[str, ...]) -> ObservationError:
    return ObservationError(
        f"'{given}' is no {what} here.", hint=f"Use one of: {', '.join(choices)}."
    )
