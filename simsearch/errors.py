"""The errors a user may meet.

SimsearchError
├── PhotoError            a file could not be read as a photo
├── DateError             a date range is not valid EDTF
├── SetError              a reference set on disk is wrong or incomplete
│   └── TableError        one cell of a table is wrong: names file, row and column
├── MissingIndexError     a reference set has no index yet
├── StaleIndexError       an index was built by another encoder or from other photos
├── EncoderError          an encoder is unknown or could not be loaded
└── ObservationError      an observation given with a photo cannot be used
"""

from __future__ import annotations


class SimsearchError(Exception):
    """Base of every error that is meant for the user.

    ``message`` says what is wrong and where; ``hint`` says what to do about it.
    """

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".rstrip()


class PhotoError(SimsearchError):
    """A file could not be read as a photo."""


class DateError(SimsearchError):
    """A date range is not valid EDTF."""


class SetError(SimsearchError):
    """A reference set on disk is wrong or incomplete."""


class TableError(SetError):
    """One cell of a table is wrong: the message names file, row and column."""


class MissingIndexError(SimsearchError):
    """A reference set has no index yet."""


class StaleIndexError(SimsearchError):
    """An index was built by another encoder, or from photos that have changed."""


class EncoderError(SimsearchError):
    """An encoder is unknown or could not be loaded."""


class ObservationError(SimsearchError):
    """An observation given with a photo cannot be used."""
