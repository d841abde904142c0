"""From what was typed into the panel to observations, each problem beside its field."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, TypeVar

from simsearch.errors import ObservationError
from simsearch.leads.observed import COMPLETENESS, Measure, Observed, nearby_dates
from simsearch.sets.dates import DateRange

LENGTHS = {"length": "length_mm", "width": "width_mm", "thickness": "thickness_mm"}
CHOICES = ("material", "fixing", "surface", "completeness")
WITHIN_MM = 1.0
_NUMBER = re.compile(r"\d{1,7}(?:[.,]\d{1,6})?")
_Read = TypeVar("_Read")


def read_observed(fields: Mapping[str, str]) -> tuple[Observed | None, dict[str, str]]:
    """Read the panel's fields: the observations (``None`` for none), and problems by field."""
    problems: dict[str, str] = {}

    def tried(name: str, read: Callable[[], _Read]) -> _Read | None:
        try:
            return read()
        except ObservationError as error:
            problems[name] = f"{error.message} {error.hint}".strip()
            return None

    def text(name: str) -> str:
        return fields.get(name, "").strip()

    left = text("completeness")
    broken = bool(text("broken"))
    if broken and left == COMPLETENESS[0]:
        problems["broken"] = "It is said to be broken and complete. Say which of the two holds."
    part = broken or left in COMPLETENESS[1:]
    error = tried("error", lambda: _number("error", text("error"), "mm"))
    values: dict[str, Any] = {}
    for name, field in LENGTHS.items():
        state = "broken" if part and name == "length" else "whole"
        values[field] = tried(name, partial(_measure, name, text(name), error, state))
    values["weight_g"] = tried("weight", lambda: _weight(text("weight")))
    for name in CHOICES:
        values[name] = tried(name, partial(_choice, name, text(name)))
    values["nearby"] = tried("nearby", lambda: _nearby(text("nearby")))
    if problems:
        return None, problems
    # What is left is what two fields say against each other.
    seen = tried("length", lambda: Observed(**values))
    if seen is None or not seen.given:
        if broken and not problems:
            problems["broken"] = "This says how to read a length. Give the length too."
        return None, problems
    return seen, problems


def _measure(name: str, text: str, error: float | None, state: str) -> Measure | None:
    value = _number(name, text, "mm")
    if value is None:
        return None
    # A small thing is not measured to within a millimetre of nothing.
    return Measure(value, min(WITHIN_MM if error is None else error, value), state)


def _weight(text: str) -> float | None:
    return Observed(weight_g=_number("weight", text, "g")).weight_g


def _choice(name: str, text: str) -> str | None:
    return getattr(Observed(**{name: text}), name) if text else None  # type: ignore[arg-type]


def _nearby(text: str) -> DateRange | None:
    return nearby_dates(text) if text else None


def _number(name: str, text: str, unit: str) -> float | None:
    if not text:
        return None
    if not _NUMBER.fullmatch(text):
        raise ObservationError(
            f"“{text[:30]}” is no number.", hint=f"Write figures only, in {unit}, such as 34.5."
        )
    value = float(text.replace(",", "."))
    if name != "error" and value <= 0:
        raise ObservationError(f"A {name} is more than 0.", hint="Leave it empty if not known.")
    return value


def given_words(observed: Observed | None) -> str:
    """What was observed in one line, for people; empty for nothing."""
    if observed is None:
        return ""
    parts = []
    for name in observed.given:
        value = getattr(observed, name)
        plain = name.rpartition("_")[0] if name.endswith(("_mm", "_g")) else name
        if isinstance(value, Measure):
            broken = ", broken" if value.state == "broken" else ""
            parts.append(f"{plain} {value.value:g} mm (give or take {value.error_mm:g}{broken})")
        elif isinstance(value, DateRange):
            parts.append(f"things nearby {value.words()}")
        elif name == "weight_g":
            parts.append(f"weight {value:g} g")
        else:
            label = {"completeness": "left of it", "fixing": "pin"}.get(plain, plain)
            parts.append(f"{label} {value}")
    return "; ".join(parts)
