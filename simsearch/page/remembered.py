"""An encoder that is asked once for each photo: so that leads can be weighed again at once."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from PIL import Image

    from simsearch.encode import Encoder

_BESIDE = ("masks", "squares")
"""What an encoder may offer beside vectors and patches."""


class Remembered:
    """Follows the encoder protocol and keeps what the encoder made of one find's photos.

    It lives in a visitor's session beside the leads, as long as those do. Photos are told apart
    by their pixels, so it does not matter how often they were opened.
    """

    def __init__(self, encoder: Encoder) -> None:
        self.encoder = encoder
        self._kept: dict[tuple[str, ...], Any] = {}

    @property
    def name(self) -> str:
        """The encoder's own name."""
        return self.encoder.name

    @property
    def dim(self) -> int:
        """Length of the vector of one photo."""
        return self.encoder.dim

    @property
    def fingerprint(self) -> str:
        """The encoder's own fingerprint: vectors are the same ones."""
        return self.encoder.fingerprint

    def embed(self, photos: list[Image.Image]) -> Any:
        """Return the vectors, float32 (n, dim)."""
        return self._once("embed", photos)

    def patches(self, photos: list[Image.Image]) -> Any:
        """Return the patch vectors, float32 (n, rows, cols, pdim)."""
        return self._once("patches", photos)

    def __getattr__(self, name: str) -> Callable[[list[Image.Image]], Any]:
        if name not in _BESIDE or not hasattr(self.encoder, name):
            raise AttributeError(name)
        return lambda photos: self._once(name, photos)

    def _once(self, what: str, photos: list[Image.Image]) -> Any:
        key = (what, *(_pixels(photo) for photo in photos))
        if key not in self._kept:
            self._kept[key] = getattr(self.encoder, what)(photos)
        return self._kept[key]


def _pixels(photo: Image.Image) -> str:
    return hashlib.sha256(repr(photo.size).encode() + photo.tobytes()).hexdigest()
