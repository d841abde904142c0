"""One face for methods with vectors and methods that compare photos in pairs."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
from PIL import Image

from simsearch.encode import Encoder

Floats = npt.NDArray[np.float32]


class Scorer(Protocol):
    """Anything that says how close each query is to each photo of a gallery.

    In three steps, so that a gallery is described once, as in an index, and the time of a query
    can be told from it.
    """

    @property
    def name(self) -> str:
        """What to call it in a table."""

    @property
    def describer(self) -> object:
        """Scorers with the same one describe a gallery alike."""

    def look_in(self, gallery: list[Image.Image]) -> Any:
        """Describe the photos that are searched."""

    def look_up(self, queries: list[Image.Image]) -> Any:
        """Describe the photos that are looked up."""

    def compare(self, queries: Any, gallery: Any) -> Floats:
        """Return float32 ``(queries, gallery)``, higher is closer."""

    def scores(self, queries: list[Image.Image], gallery: list[Image.Image]) -> Floats:
        """The three steps in one go."""


class Steps:
    """The three steps in one go, for those who do not want to know the time of each."""

    def scores(
        self: Scorer, queries: list[Image.Image], gallery: list[Image.Image]
    ) -> npt.NDArray[np.float32]:
        """Return float32 ``(queries, gallery)``, higher is closer."""
        looked_in = self.look_in(gallery)
        return self.compare(self.look_up(queries), looked_in)


class VectorScorer(Steps):
    """Scores by the inner product of an encoder's vectors.

    With ``turns`` above 1 each query is also looked up turned in equal steps round the circle,
    and the best of its scores counts; the gallery stays as it is. An encoder that itself takes
    the mean over ``averaged`` turns says the same of a photo turned by one of those, so only the
    steps up to the first of them are looked up.
    """

    def __init__(self, encoder: Encoder, turns: int = 1, averaged: int = 1) -> None:
        self.name = encoder.name if turns == 1 else f"{encoder.name}, {turns} turns"
        self.describer, self._encoder = encoder, encoder
        all_steps = range(0, 360 * turns, 360)
        self._degrees = [step / turns for step in all_steps if step * averaged < 360 * turns]

    def look_in(self, gallery: list[Image.Image]) -> Floats:
        """Return the vectors ``(gallery, dim)``."""
        return self._encoder.embed(gallery)

    def look_up(self, queries: list[Image.Image]) -> list[Floats]:
        """Return the vectors ``(queries, dim)`` at each turn."""
        turned = [[turn(photo, angle) for photo in queries] for angle in self._degrees[1:]]
        return [self._encoder.embed(photos) for photos in (queries, *turned)]

    def compare(self, queries: list[Floats], gallery: Floats) -> Floats:
        """Return float32 ``(queries, gallery)`` of cosines, the best over the turns."""
        best: Floats = np.max([vectors @ gallery.T for vectors in queries], axis=0)
        return best


def turn(photo: Image.Image, degrees: float) -> Image.Image:
    """Turn ``photo`` about its middle, its corners filled with the median colour of its border."""
    return photo.convert("RGB").rotate(
        degrees, Image.Resampling.BICUBIC, fillcolor=border_colour(photo)
    )


def border_colour(photo: Image.Image) -> tuple[int, int, int]:
    """Return the median colour of the outermost pixels."""
    pixels = np.asarray(photo.convert("RGB"))
    border = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    red, green, blue = (int(value) for value in np.median(border, axis=0))
    return red, green, blue
