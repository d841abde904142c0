"""Reading photographs safely: one function for one photo, one for a folder of them."""

from __future__ import annotations

from simsearch.photo.folder import list_photos
from simsearch.photo.reading import MAX_FILE_BYTES, MAX_PIXELS, open_photo

__all__ = ["MAX_FILE_BYTES", "MAX_PIXELS", "list_photos", "open_photo"]
