"""From the squares that are laid over each other back to the photos that people see."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Places = npt.NDArray[np.floating]


@dataclass(frozen=True)
class Box:
    """Where a square lies in a photo, as fractions of the photo's width and height.

    It may reach beyond the photo. In a photo that is not square its fractions differ.
    """

    left: float
    top: float
    right: float
    bottom: float

    def inward(self, places: Places) -> Places:
        """From fractions of the photo (p, 2) to fractions of the square."""
        return (places - self._corner) / self._size

    def outward(self, places: Places) -> Places:
        """From fractions of the square (p, 2) to fractions of the photo."""
        return places * self._size + self._corner

    @property
    def _corner(self) -> npt.NDArray[np.float64]:
        return np.array([self.left, self.top])

    @property
    def _size(self) -> npt.NDArray[np.float64]:
        return np.array([self.right - self.left, self.bottom - self.top])
