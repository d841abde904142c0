"""What can go wrong while a sheet is made."""

from __future__ import annotations

from simsearch.errors import SimsearchError


class SheetError(SimsearchError):
    """A sheet cannot be made from what was given."""
