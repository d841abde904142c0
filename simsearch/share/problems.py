"""The one error of this package: everything that is wrong with what was given, at once."""

from __future__ import annotations

from collections.abc import Sequence

from simsearch.errors import SimsearchError

_LISTED = 40


class ShareError(SimsearchError):
    """A set cannot be packed, unpacked or merged; ``reasons`` holds one entry for each why."""

    def __init__(self, what: str, reasons: Sequence[str], *, hint: str = "") -> None:
        self.reasons = tuple(reasons)
        shown = [f"- {reason}" for reason in self.reasons[:_LISTED]]
        if len(self.reasons) > _LISTED:
            shown.append(f"- and {len(self.reasons) - _LISTED} more")
        super().__init__("\n".join([what, *shown, *([hint] if hint else [])]))
        self.hint = ""  # part of the message, which is a list and not one line


def shown(text: str, length: int = 80) -> str:
    """Return text from outside as it may be printed: no control characters, not too long."""
    plain = "".join(letter if letter.isprintable() else "?" for letter in text)
    return plain if len(plain) <= length else f"{plain[: length - 3]}..."
