"""Odds, lengths and cautions in words, as they stand on paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

LEADS_NOT = "Leads to verify, not an identification."


@dataclass(frozen=True)
class Note:
    """A caution that applies: a heading and a few sentences. Urgent ones stand first."""

    title: str
    text: str
    urgent: bool = False


_NOTES = {
    "ammunition": Note(
        "This may be ammunition",
        "Leave it where it is, do not touch or move it, keep people away and call the police.",
        urgent=True,
    ),
    "precious-metal": Note(
        "May be gold or silver",
        "Such finds may have to be reported by law. Ask now; check the current text of the law.",
    ),
    "coin-group": Note(
        "More than one coin?",
        "Coins found together may have to be reported by law when a single one does not.",
    ),
    "modern-copy": Note("Could be modern", "Copies of this form are made and lost today."),
    "lead": Note("Lead", "Wear gloves, wash your hands, keep it away from food and children."),
}


def notes_for(keys: Iterable[str]) -> tuple[Note, ...]:
    """Short cautions for the keys that types carry, urgent ones first; unknown keys are passed."""
    wanted = set(keys)
    found = [note for key, note in _NOTES.items() if key in wanted]
    return tuple(sorted(found, key=lambda note: not note.urgent))


def odds_words(odds: float | None) -> str:
    """Odds, 0..1, in words and numbers; never certain, never impossible."""
    if odds is None:
        return "no odds measured"
    if odds < 0.05:
        return "fewer than 1 in 20 (under 5 in 100)"
    if odds > 0.95:
        return "more than 19 in 20 (over 95 in 100)"
    return f"about {max(1, min(9, round(odds * 10)))} in 10 ({odds * 100:.0f} in 100)"


def length_words(length_mm: tuple[float, float] | None) -> str:
    """A range of lengths in mm; empty when it is not known."""
    if length_mm is None:
        return ""
    low, high = length_mm
    return f"{low:g} mm" if low == high else f"{low:g} to {high:g} mm"


def count(number: int, singular: str) -> str:
    """``count(3, "photo")`` is "3 photos"."""
    return f"{number} {singular}{'' if number == 1 else 's'}"
