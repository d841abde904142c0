"""What every encoder offers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, runtime_checkable

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    from PIL import Image


@runtime_checkable
class Encoder(Protocol):
    """Turns photos into one vector each, and into a grid of patch vectors.

    An encoder may be used by several threads at once. Photos are RGB images as ``open_photo``
    gives them, of any size.
    """

    @property
    def name(self) -> str:
        """The name that ``load_encoder`` takes, such as ``built-in``."""

    @property
    def dim(self) -> int:
        """Length of the vector of one photo."""

    @property
    def fingerprint(self) -> str:
        """SHA-256 in hexadecimal; another one as soon as weights or preprocessing differ.

        Vectors of two encoders may be compared only if their fingerprints are equal.
        """

    def embed(self, photos: list[Image.Image]) -> npt.NDArray[np.float32]:
        """Return float32 ``(n, dim)``, each row of unit length; ``(0, dim)`` for no photos."""

    def patches(self, photos: list[Image.Image]) -> npt.NDArray[np.float32]:
        """Return float32 ``(n, rows, cols, pdim)``, each patch vector of unit length.

        Row 0 is the top of the photo, column 0 its left side. Raises EncoderError if the encoder
        has no patch vectors.
        """
