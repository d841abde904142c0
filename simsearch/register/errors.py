"""What can go wrong with a register, told to the user."""

from __future__ import annotations

from simsearch.errors import SimsearchError


class RegisterError(SimsearchError):
    """A register could not be opened, read or written."""


class RecordError(RegisterError):
    """What was given for a find cannot be recorded as it stands."""


class FindspotError(RecordError):
    """A grid reference or a latitude and longitude is not one, or is out of bounds."""
