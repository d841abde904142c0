"""One face for methods with vectors and methods that compare photos in pairs."""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt
from PIL import Image

from simsearch.encode import Encoder


class Scorer(Protocol):
    """Anything that says how close each query is to each photo of a gallery."""

    @property
    def name(self) -> str:
        """What to call it in a table."""

    def scores(
        self, queries: list[Image.Image], gallery: list[Image.Image]
    ) -> npt.NDArray[np.float32]:
        """Return float32 ``(queries, gallery)``, higher is closer."""


class VectorScorer:
    """Scores by the inner product of an encoder's vectors.

    With ``turns`` above 1 each query is also looked up turned in equal steps round the circle,
    and the best of its scores counts; the gallery stays as it is.
    """

    def __init__(self, encoder: Encoder, turns: int = 1) -> None:
        self.name = encoder.name if turns == 1 else f"{encoder.name}, {turns} turns"
        self._encoder, self._turns = encoder, turns

    def scores(
        self, queries: list[Image.Image], gallery: list[Image.Image]
    ) -> npt.NDArray[np.float32]:
        """Return float32 ``(queries, gallery)`` of cosines."""
        looked_in = self._encoder.embed(gallery)
        upright = looked_in if queries is gallery else self._encoder.embed(queries)
        best: npt.NDArray[np.float32] = upright @ looked_in.T
        for step in range(1, self._turns):
            turned = [turn(photo, 360 * step / self._turns) for photo in queries]
            best = np.maximum(best, self._encoder.embed(turned) @ looked_in.T)
        return best


def turn(photo: Image.Image, degrees: float) -> Image.Image:
    """Turn ``photo`` about its middle, its corners filled with the median colour of its border."""
    pixels = np.asarray(photo.convert("RGB"))
    border = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    red, green, blue = (int(value) for value in np.median(border, axis=0))
    return photo.convert("RGB").rotate(
        degrees, Image.Resampling.BICUBIC, fillcolor=(red, green, blue)
    )
