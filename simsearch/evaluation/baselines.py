"""Plain methods that any encoder has to beat.

``ColourLbp`` and ``Hog`` follow the Encoder protocol, without patch vectors. ``SiftSpatial``
compares photos in pairs and has no vectors at all.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image
from skimage.color import rgb2hsv
from skimage.feature import hog, local_binary_pattern

from simsearch.errors import EncoderError
from simsearch.evaluation.scoring import Steps

Floats = npt.NDArray[np.float32]


def centre_square(photo: Image.Image, side: int) -> Image.Image:
    """Return the largest square in the middle of ``photo``, ``side`` pixels wide."""
    edge = min(photo.size)
    left, top = (photo.width - edge) // 2, (photo.height - edge) // 2
    box = (left, top, left + edge, top + edge)
    return photo.convert("RGB").crop(box).resize((side, side), Image.Resampling.LANCZOS)


class _Baseline:
    """The part of the Encoder protocol that the vector baselines share."""

    def __init__(self, name: str, describe: Callable[[Image.Image], npt.NDArray[np.float64]]):
        self.name = name
        self._describe = describe
        self.dim = int(describe(Image.new("RGB", (64, 64), "grey")).size)
        self.fingerprint = hashlib.sha256(f"baseline {name}".encode()).hexdigest()

    def embed(self, photos: list[Image.Image]) -> Floats:
        """Return float32 ``(n, dim)``, rows of unit length (zero for a photo of one colour)."""
        rows = [self._describe(photo) for photo in photos]
        table = np.stack(rows) if rows else np.zeros((0, self.dim))
        lengths = np.linalg.norm(table, axis=1, keepdims=True)
        unit: Floats = (table / np.maximum(lengths, 1e-12)).astype(np.float32)
        return unit

    def patches(self, photos: list[Image.Image]) -> Floats:
        """Raise EncoderError: there are none."""
        raise EncoderError(f"The baseline {self.name} gives no patch vectors.")


class ColourLbp(_Baseline):
    """A colour histogram beside local binary patterns: what a photo looks like, not its form.

    HSV histogram of 12 x 4 x 4 bins; uniform rotation-invariant patterns of 8 points at radius 1
    and 16 points at radius 2. Each histogram is square-rooted (Hellinger kernel).
    """

    def __init__(self, side: int = 128) -> None:
        self._side = side
        super().__init__(f"colour + LBP, {side} px", self._histograms)

    def _histograms(self, photo: Image.Image) -> npt.NDArray[np.float64]:
        square = centre_square(photo, self._side)
        colours = rgb2hsv(np.asarray(square)).reshape(-1, 3)
        parts = [np.histogramdd(colours, bins=(12, 4, 4), range=[(0, 1)] * 3)[0].ravel()]
        grey = np.asarray(square.convert("L"))
        for points, radius in ((8, 1), (16, 2)):
            codes = local_binary_pattern(grey, points, radius, method="uniform")
            parts.append(np.bincount(codes.astype(int).ravel(), minlength=points + 2))
        return np.concatenate([np.sqrt(part / part.sum()) for part in parts])


class Hog(_Baseline):
    """Histograms of oriented gradients of the grey square in the middle of a photo.

    9 orientations, blocks of 2 x 2 cells, L2-Hys; ``cell`` is the side of a cell in pixels of a
    square that is ``side`` pixels wide.
    """

    def __init__(self, cell: int = 16, side: int = 128) -> None:
        self._cell, self._side = cell, side
        super().__init__(f"HOG, {cell} px cells of {side}", self._gradients)

    def _gradients(self, photo: Image.Image) -> npt.NDArray[np.float64]:
        grey = np.asarray(centre_square(photo, self._side).convert("L"))
        cells = (self._cell, self._cell)
        vector: npt.NDArray[np.float64] = hog(
            grey, orientations=9, pixels_per_cell=cells, cells_per_block=(2, 2)
        )
        return vector


@dataclass(frozen=True)
class _Keypoints:
    places: npt.NDArray[np.float32]  # (n, 2) x, y in pixels
    descriptors: npt.NDArray[np.float32]  # (n, 128) unit rows


class SiftSpatial(Steps):
    """SIFT with Lowe's ratio test, then RANSAC for one similarity (turn, scale, shift).

    The score of a pair is the number of keypoints that agree with that similarity; between
    pairs with equal numbers the closer descriptors decide. ``contrast`` is how faint a keypoint
    may be. The settings are the best of a few tried on the coin photos: contrast 0.04
    (OpenCV's default) and 0.02, both with ratio 0.8 (Lowe's), were worse.
    """

    def __init__(
        self, side: int = 192, keypoints: int = 200, ratio: float = 0.9, contrast: float = 0.01
    ) -> None:
        self.name = f"SIFT + spatial check, {side} px, ratio {ratio}"
        self.describer = ("SIFT", side, keypoints, contrast)
        self._side, self._keypoints = side, keypoints
        self._ratio, self._contrast = ratio, contrast

    def look_in(self, gallery: list[Image.Image]) -> list[_Keypoints]:
        """Return the keypoints of each photo."""
        return [self._describe(photo) for photo in gallery]

    look_up = look_in

    def compare(self, queries: list[_Keypoints], gallery: list[_Keypoints]) -> Floats:
        """Return float32 ``(queries, gallery)``: agreeing keypoints and a fraction."""
        rows = [[self._agreeing(one, other) for other in gallery] for one in queries]
        return np.asarray(rows, dtype=np.float32).reshape(len(queries), len(gallery))

    def _describe(self, photo: Image.Image) -> _Keypoints:
        grey = np.asarray(centre_square(photo, self._side).convert("L"))
        sift = cv2.SIFT_create(  # type: ignore[attr-defined]
            nfeatures=self._keypoints, contrastThreshold=self._contrast
        )
        found, descriptors = sift.detectAndCompute(grey, None)
        if not found or descriptors is None:
            return _Keypoints(np.zeros((0, 2), np.float32), np.zeros((0, 128), np.float32))
        lengths = np.linalg.norm(descriptors, axis=1, keepdims=True)
        places = np.asarray([point.pt for point in found], dtype=np.float32)
        return _Keypoints(places, (descriptors / np.maximum(lengths, 1e-6)).astype(np.float32))

    def _agreeing(self, one: _Keypoints, other: _Keypoints) -> float:
        """Return how many keypoints of ``one`` have a distinct partner in the right place.

        A fraction below 1, the mean cosine of the best partners, is added.
        """
        if len(one.places) < 3 or len(other.places) < 3:
            return 0.0
        closeness = one.descriptors @ other.descriptors.T
        two = np.argpartition(-closeness, 1, axis=1)[:, :2]
        pair = np.sqrt(np.maximum(2 - 2 * np.take_along_axis(closeness, two, axis=1), 0))
        kept = pair.min(axis=1) < self._ratio * pair.max(axis=1)
        partner = np.where(pair[:, 0] <= pair[:, 1], two[:, 0], two[:, 1])[kept]
        fraction = 0.99 * float(np.clip(closeness.max(axis=1).mean(), 0, 1))
        if kept.sum() < 3:
            return fraction
        _, agree = cv2.estimateAffinePartial2D(
            one.places[kept],
            other.places[partner],
            ransacReprojThreshold=0.03 * self._side,
            maxIters=500,
        )
        if agree is None:
            return fraction
        return len(np.unique(partner[agree.ravel() > 0])) + fraction
