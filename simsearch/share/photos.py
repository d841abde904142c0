"""A photo of a set as it may leave: the file that was labelled, with nothing but the picture."""

from __future__ import annotations

import hashlib

from simsearch.errors import PhotoError
from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import ReferenceSet
from simsearch.share.plain import plain_photo


def photo_to_share(reference: ReferenceSet, photo: PhotoRow) -> tuple[bytes, bool]:
    """Return a photo's bytes without metadata, and whether it had to be drawn again for that.

    Raises ``PhotoError`` when the file is missing, is not the one that was labelled, or cannot
    be read.
    """
    try:
        data = reference.path_of(photo).read_bytes()
    except OSError as error:
        raise PhotoError(f"the file '{photo.file}' cannot be read ({error.strerror})") from error
    if hashlib.sha256(data).hexdigest() != photo.sha256:
        raise PhotoError(f"the file '{photo.file}' is not the one that was labelled (its hash)")
    return plain_photo(data)
