"""What to do better in a photo before a search: rules of thumb, in plain words.

The limits were chosen by looking at what the shipped renders and spoilt copies of them give;
``tests/measure/advice_rates.py`` prints how often each rule speaks on both. Renders are not
photographs, and none of this refuses a photo: a corroded find can look dark or soft in a good one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from simsearch.encode.framing import largest_piece
from simsearch.measure.find_card import find_card
from simsearch.measure.model import CardError
from simsearch.measure.outline import FindsObjects, likelihood
from simsearch.measure.squared import square_up

Mask = NDArray[np.bool_]
Grey = NDArray[np.float32]

NOTE = "Rules of thumb: they see the picture, not the object. Look for yourself."
OBJECT_SIDE = 160
"""Pixels that the object's longer side is brought to, so that photos of any size compare."""
BLURRED = 0.18
SMALL_PX, SMALL_SHARE = 160, 0.12
BURNT, BURNT_SHARE = 250, 0.02
DARK = 55.0
FLAT = 6.5


@dataclass(frozen=True)
class Advice:
    """One thing to do better. ``figure`` is what was measured, ``limit`` where advice begins."""

    kind: str
    words: str
    figure: float
    limit: float

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "kind": self.kind, "words": self.words, "figure": round(self.figure, 4),
            "limit": self.limit,
        }  # fmt: skip


@dataclass(frozen=True)
class Look:
    """What was measured on the object in one photo.

    ``sharpness`` is the variance of the Laplacian over that of the grey levels, at OBJECT_SIDE;
    ``burnt`` the share of the object that is clipped white; ``level`` its median grey (0 to 255);
    ``relief`` the spread of light and shade of a few hundredths of its length; ``pixels`` and
    ``share`` the object's longer side in pixels and of the picture's; ``cut`` the share of the
    picture's border that the object lies on.
    """

    sharpness: float
    burnt: float
    level: float
    relief: float
    pixels: float
    share: float
    cut: float


def advise(photo: Image.Image, encoder: FindsObjects) -> tuple[Advice, ...]:
    """Return advice on an upright RGB photo, the gravest first; empty when there is none.

    On a photo card only its bare middle is looked at, squared up but not brightened.
    """
    about_card: list[Advice] = []
    look_in, on_card = photo, False
    try:
        view = find_card(photo)
        room = view.layout.room.inside(1.0)
        look_in, on_card = square_up(photo, view, room, balanced=False).picture, True
    except CardError as error:
        about_card = [_no_scale() if error.reason == "none" else _poor_card(error)]
    look = look_at(look_in, encoder)
    if look is None:
        words = (
            "No object is found in the photo. Lay the find on a plain ground that is lighter or "
            "darker than it, and let it fill about half of the photo."
        )
        return (Advice("no object", words, 0.0, 1.0),)
    return (*_advice(look, on_card), *about_card)


def _no_scale() -> Advice:
    words = (
        "No photo card is seen. With one under the find its size is measured; a scale bar or a "
        "coin of known diameter will do, if you click two points on it."
    )
    return Advice("no scale", words, 0.0, 1.0)


def _poor_card(error: CardError) -> Advice:
    return Advice("card", f"The photo card cannot be used. {error}", 0.0, 1.0)


def _advice(look: Look, on_card: bool) -> list[Advice]:
    found = []

    def say(wrong: bool, kind: str, figure: float, limit: float, words: str) -> None:
        if wrong:
            found.append(Advice(kind, words, figure, limit))

    say(look.cut > 0.01, "cut off", look.cut, 0.01,
        "The find seems to be cut off by the edge of the photo. Show all of it, with some ground "
        "around it.")  # fmt: skip
    say(look.pixels < SMALL_PX, "too small", look.pixels, SMALL_PX,
        f"The find is only {look.pixels:.0f} pixels long. Go nearer or use the camera's full "
        "size; do not send it through a chat, which shrinks photos.")  # fmt: skip
    small = look.share < SMALL_SHARE and not on_card  # a card must be in the photo whole
    say(small and look.pixels >= SMALL_PX, "too small", look.share, SMALL_SHARE,
        "The find fills little of the photo. Go nearer, or cut the photo closer.")  # fmt: skip
    say(look.sharpness < BLURRED, "blur", look.sharpness, BLURRED,
        "The find looks blurred. Rest the camera on something, tap on the find to focus, do not go "
        "nearer than the camera can focus.")  # fmt: skip
    say(look.level < DARK, "dark", look.level, DARK,
        "The find is very dark. Use more light, or tap on the find so that the camera sets the "
        "light by it.")  # fmt: skip
    say(look.burnt > BURNT_SHARE, "glare", look.burnt, BURNT_SHARE,
        f"{100 * look.burnt:.0f} in 100 of the find is burnt out white. Turn off the flash, "
        "soften the light with thin paper, or turn the find a little.")  # fmt: skip
    say(look.relief < FLAT and look.level >= DARK and look.sharpness >= BLURRED, "flat light",
        look.relief, FLAT,
        "There is hardly any light and shade on the find. If it has relief or incised lines, "
        "a second photo with light from one side, low over it, is worth trying.")  # fmt: skip
    return found


def look_at(photo: Image.Image, encoder: FindsObjects) -> Look | None:
    """Measure the object in a photo; None when the encoder sees none."""
    mask = largest_piece(_coarse(likelihood(photo, encoder)) > 0.5)
    if mask.mean() < 0.001:
        return None
    y, x = np.nonzero(mask)
    cell = photo.width / mask.shape[1], photo.height / mask.shape[0]
    box = (
        x.min() * cell[0], y.min() * cell[1], (x.max() + 1) * cell[0], (y.max() + 1) * cell[1]
    )  # fmt: skip
    longest = max(box[2] - box[0], box[3] - box[1])
    scale = min(1.0, OBJECT_SIDE / longest)
    size = tuple(max(4, round(scale * side)) for side in (box[2] - box[0], box[3] - box[1]))
    part = photo.convert("RGB").resize(size, Image.Resampling.BOX, box=box)
    inside = _inside(mask, (x.min(), y.min(), x.max() + 1, y.max() + 1), part.size)
    grey = np.asarray(part.convert("L"), np.float32)
    light = np.asarray(part).min(2)[inside]
    border = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    return Look(
        sharpness=_sharpness(grey, inside),
        burnt=float((light >= BURNT).mean()),
        level=float(np.median(grey[inside])),
        relief=_relief(grey, inside),
        pixels=longest,
        share=longest / max(photo.size),
        cut=float(border.mean()),
    )


def _coarse(likely: NDArray[np.float32]) -> NDArray[np.float32]:
    """The likelihoods at no more than 192 a side: as fine as they are, and quick to work with."""
    height, width = likely.shape
    scale = min(1.0, 192 / max(height, width))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    return np.asarray(cv2.resize(likely, size, interpolation=cv2.INTER_AREA), np.float32)


def _inside(mask: Mask, box: tuple[int, int, int, int], size: tuple[int, int]) -> Mask:
    """The mask over a part of the photo, without its rim, where the ground shines in."""
    left, top, right, low = box
    part = cv2.resize(mask[top:low, left:right].astype(np.uint8), size)
    smaller = cv2.erode(part, np.ones((7, 7), np.uint8), borderValue=0)
    return np.asarray((smaller if smaller.sum() > 100 else part) > 0)


def _sharpness(grey: Grey, inside: Mask) -> float:
    """Variance of the Laplacian over that of the grey levels: the light does not matter then.

    The measure is that of J. L. Pech-Pacheco and others, "Diatom autofocusing in brightfield
    microscopy: a comparative study", Proc. 15th ICPR (2000) (from memory); dividing is our own.
    """
    fine = cv2.Laplacian(grey, cv2.CV_32F)[inside]
    return float(fine.var() / max(float(grey[inside].var()), 1.0))


def _relief(grey: Grey, inside: Mask) -> float:
    """Spread of grey levels in details of 2 to 8 in 100 of the object's length."""
    middle = cv2.GaussianBlur(grey, (0, 0), 0.01 * OBJECT_SIDE)
    broad = cv2.GaussianBlur(grey, (0, 0), 0.04 * OBJECT_SIDE)
    return float((middle - broad)[inside].std())
