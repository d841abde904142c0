"""What a measurement is made of. A figure never goes without its error."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from simsearch.errors import SimsearchError


class MeasureError(SimsearchError):
    """A photo cannot be measured, or something given for measuring cannot be used."""


class CardError(MeasureError):
    """The photo card cannot be found in a photo, or not well enough. ``reason`` is one word."""

    def __init__(self, reason: str, message: str, *, hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.reason = reason


@dataclass(frozen=True)
class Term:
    """One part of an error: ``mm`` is how much of it falls on the length."""

    name: str
    mm: float
    words: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {"name": self.name, "mm": round(self.mm, 3), "words": self.words}


@dataclass(frozen=True)
class Measurement:
    """Sizes of a find in millimetres.

    ``length_mm`` is the longest straight distance across the outline (largest Feret diameter),
    ``width_mm`` the short side of the smallest rectangle round it, ``area_mm2`` the area within
    the outline, holes left out. Errors are how far off a figure may well be: parts that are
    independent are added as squares. ``terms`` are the parts for the length, ``how`` says in
    words how it was measured and what was assumed.
    """

    length_mm: float
    error_mm: float
    width_mm: float | None
    width_error_mm: float | None
    area_mm2: float | None
    area_error_mm2: float | None
    mm_per_px: float
    how: str
    terms: tuple[Term, ...] = ()

    def words(self) -> str:
        """The figures in words, as exact as their errors allow."""
        parts = [f"length {in_mm(self.length_mm, self.error_mm)}"]
        if self.width_mm is not None and self.width_error_mm is not None:
            parts.append(f"width {in_mm(self.width_mm, self.width_error_mm)}")
        if self.area_mm2 is not None and self.area_error_mm2 is not None:
            parts.append(f"area {self.area_mm2:.0f} ± {self.area_error_mm2:.0f} mm²")
        return ", ".join(parts)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        plain: dict[str, Any] = {
            name: None if value is None else round(value, 4 if name == "mm_per_px" else 2)
            for name in (
                "length_mm", "error_mm", "width_mm", "width_error_mm", "area_mm2",
                "area_error_mm2", "mm_per_px",
            )
            for value in (getattr(self, name),)
        }  # fmt: skip
        return plain | {"how": self.how, "terms": [term.to_dict() for term in self.terms]}


def in_mm(value: float, error: float) -> str:
    """``value ± error mm``, with one decimal; the error is rounded up."""
    return f"{value:.1f} ± {math.ceil(error * 10 - 1e-9) / 10:.1f} mm"


def together(parts: Iterable[float]) -> float:
    """Independent errors as one: the root of the sum of their squares."""
    return math.sqrt(sum(part * part for part in parts))
