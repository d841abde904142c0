"""Photograph the photo card by computer, measure the photos, and print how far off they are.

    python scripts/evaluate_card.py [--photos 200] [--seed 1] [--no-encoder] [--keep FOLDER]

The card's own PDF is turned into pixels and seen through a camera with perspective and a bulging
lens, on a table, with an object of known outline and thickness on it, in uneven coloured light,
blurred, grainy and saved as JPEG. Tilts go up to 35 degrees. One photo in five is spoilt on
purpose: markers covered, blurred through, seen from the side, cut off, bent, or without a card.
Distances across the room are compared with the truth, and a photo that is measured with a scale
off by more than 1.5 in 100 counts as a wrong answer, spoilt or not.
"""

from __future__ import annotations

import argparse
import io
import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.spatial.distance import pdist

from simsearch.measure.by_card import measure_on_card
from simsearch.measure.card import PAGE_MM, photo_card, place_on_page
from simsearch.measure.find_card import CardView, find_card
from simsearch.measure.layout import A5, A6, Layout
from simsearch.measure.model import CardError, MeasureError
from simsearch.measure.outline import FindsObjects

Rng = np.random.Generator
Floats = NDArray[np.float64]

PAGE_PX_PER_MM = 10
BAR = 0.015
SPOILT = ("covered", "blurred", "oblique", "cut off", "bent", "no card")
_FINER = 2  # pictures are drawn so many times finer than the photo
_COARSE = 16


@dataclass(frozen=True)
class Scene:
    """One photo to be taken: the camera, what lies on the card, the light, the file."""

    layout: Layout
    size: tuple[int, int]
    focal: float
    tilt: float
    azimuth: float
    roll: float
    fill: float
    aim: Floats
    lens: float
    outline: Floats
    thickness: float
    round_edged: bool
    sag: float = 0.0
    blur: float = 0.0
    shake: float = 0.0
    noise: float = 0.0
    quality: int = 90
    spoilt: str = ""
    covered: tuple[int, ...] = ()


@dataclass
class Eye:
    """A camera over the card: world x right, y down the card, z up from it, in mm."""

    size: tuple[int, int]
    focal: float  # pixels
    lens: float
    turn: Floats
    place: Floats

    def project(self, points: Floats) -> Floats:
        """World points (n, 3) as pixels (n, 2), by the division model of lens distortion."""
        seen = (points - self.place) @ self.turn.T
        flat = seen[:, :2] / seen[:, 2:] * self.focal / self.half
        radius = (flat**2).sum(1, keepdims=True)
        if self.lens:
            factor = 2 / (1 + np.sqrt(np.maximum(1 - 4 * self.lens * radius, 1e-9)))
            flat = flat * factor
        return flat * self.half + np.array(self.size) / 2

    def meet(self, pixels: Floats, height: float | Floats) -> Floats:
        """Points (n, 2) in mm at a height over the card that pixels (n, 2) look at."""
        flat = (pixels - np.array(self.size) / 2) / self.half
        flat = flat / (1 + self.lens * (flat**2).sum(1, keepdims=True)) * self.half / self.focal
        sight = np.concatenate([flat, np.ones((len(flat), 1))], 1) @ self.turn
        along = (height - self.place[2]) / sight[:, 2]
        return self.place[:2] + sight[:, :2] * along[:, None]

    @property
    def half(self) -> float:
        return math.hypot(*self.size) / 2


def eye_of(scene: Scene) -> Eye:
    """The camera of a scene, as far off as makes the card fill the wanted part of the photo."""
    tilt, azimuth, roll = (math.radians(v) for v in (scene.tilt, scene.azimuth, scene.roll))
    away = np.array([
        math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)
    ])  # fmt: skip
    down = -away
    side = np.cross(down, [math.sin(roll), math.cos(roll), 0.3])
    side /= np.linalg.norm(side)
    turn = np.stack([side, np.cross(down, side), down])
    # World z is up while x, y are those of the page, so one axis is mirrored to match.
    if np.linalg.det(turn) > 0:
        turn[0] *= -1
    layout = scene.layout
    corners = np.array([[x, y, 0] for x in (0, layout.width) for y in (0, layout.height)], float)
    centre = np.append(scene.aim, 0)
    near, far = 60.0, 4000.0
    for _ in range(40):
        distance = (near + far) / 2
        eye = Eye(scene.size, scene.focal, 0.0, turn, centre + away * distance)
        seen = eye.project(corners) / np.array(scene.size) - 0.5
        behind = ((corners - eye.place) @ turn[2] < 20).any()
        near, far = (
            (distance, far) if behind or np.abs(seen).max() > scene.fill / 2 else (near, distance)
        )
    return Eye(scene.size, scene.focal, scene.lens, turn, centre + away * far)


@lru_cache(maxsize=2)
def page_of(name: str) -> NDArray[np.uint8]:
    """The card's page as RGB pixels, PAGE_PX_PER_MM to the millimetre."""
    import pypdfium2

    with pypdfium2.PdfDocument(photo_card(name)) as document:
        picture = document[0].render(scale=PAGE_PX_PER_MM * 25.4 / 72).to_pil()
    return np.asarray(picture.convert("RGB"))


def photograph(scene: Scene, rng: Rng) -> tuple[Image.Image, Eye]:
    """Take the photo of a scene."""
    eye = eye_of(scene)
    picture = _seen(scene, eye, rng)
    if scene.spoilt != "no card":
        _lay(picture, scene, eye, rng)
    picture = cv2.resize(picture, scene.size, interpolation=cv2.INTER_AREA)
    picture = _lit(picture, rng)
    picture = _taken(picture, scene, rng)
    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "JPEG", quality=scene.quality)
    return Image.open(buffer).convert("RGB"), eye


def _seen(scene: Scene, eye: Eye, rng: Rng) -> NDArray[np.float32]:
    """Table and page, linear light 0..1, drawn _FINER times finer than the photo."""
    width, height = (side * _FINER for side in scene.size)
    # Where pixels look changes slowly over the picture: every _COARSE-th is worked out.
    x, y = (_COARSE * (np.arange(-1, -(-side // _COARSE) + 1) + 0.5) for side in (width, height))
    pixels = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2) / _FINER
    mm = eye.meet(pixels, 0.0)
    for _ in range(4 if scene.sag else 0):
        across = (mm[:, 0] / scene.layout.width - 0.5) * 2
        mm = eye.meet(pixels, scene.sag * np.clip(1 - across**2, -0.2, 1))
    left, top = place_on_page(scene.layout)
    coarse = ((mm + np.array([left, top])) * PAGE_PX_PER_MM - 0.5).astype(np.float32)
    at = cv2.resize(coarse.reshape(len(y), len(x), 2), (len(x) * _COARSE, len(y) * _COARSE))[
        _COARSE : _COARSE + height, _COARSE : _COARSE + width
    ]
    grain = cv2.resize(rng.random((90, 120, 1)).astype(np.float32), (width, height))
    table = np.array(rng.uniform(0.05, 0.5, 3), np.float32) * (0.7 + 0.6 * grain[..., None])
    if scene.spoilt == "no card":
        return table
    page = page_of(scene.layout.name.lower())
    paper = cv2.remap(page, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=(0, 0, 0))
    high, wide = (round(side * PAGE_PX_PER_MM) for side in PAGE_MM[::-1])
    on = (at[..., 0] > 0) & (at[..., 0] < wide) & (at[..., 1] > 0) & (at[..., 1] < high)
    ink = (paper / np.float32(255)) ** 2.2 * 0.8 + 0.04
    return np.where(on[..., None], ink, table).astype(np.float32)


def _lay(picture: NDArray[np.float32], scene: Scene, eye: Eye, rng: Rng) -> None:
    """Draw the object with its shadow, and what covers markers, into the picture."""
    shadow = np.zeros(picture.shape[:2], np.uint8)
    way = rng.uniform(-1, 1, 2) * scene.thickness * 0.8
    _fill(shadow, eye, scene.outline + way, 0.0, 255)
    _fill(shadow, eye, scene.outline + way / 2, 0.0, 255)
    soft = float(rng.uniform(1, 3)) * scene.size[0] / 800
    small = cv2.resize(shadow, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), soft)
    dimmed = 1 - rng.uniform(0.1, 0.5) * cv2.resize(small, picture.shape[1::-1]) / np.float32(255)
    picture *= dimmed[..., None].astype(np.float32)
    metal = np.array(rng.uniform([0.03, 0.04, 0.02], [0.22, 0.24, 0.16]), np.float32)
    grain = cv2.resize(rng.random((200, 260)).astype(np.float32), picture.shape[1::-1])
    middle = scene.outline.mean(0)
    half_width = np.ptp(scene.outline, 0).min() / 2
    for share in np.linspace(0, 1, 9):
        inset = 0.0
        if scene.round_edged:
            inset = scene.thickness / 2 * (1 - math.sqrt(1 - (2 * share - 1) ** 2))
        smaller = middle + (scene.outline - middle) * max(0.3, 1 - inset / half_width)
        layer = np.zeros(picture.shape[:2], np.uint8)
        _fill(layer, eye, smaller, share * scene.thickness, 1)
        on = np.nonzero(layer)
        light = (0.6 + 0.5 * share) * (0.7 + 0.6 * grain[on])
        picture[on] = metal * light[:, None]
    for number in scene.covered:
        box = scene.layout.markers[number]
        spot = np.array([box.x, box.y]) + rng.uniform(0.3, 0.7, 2) * box.width
        around = np.linspace(0, 2 * math.pi, 30)[:, None]
        reach = box.width * rng.uniform(0.35, 0.6)
        patch = np.zeros(picture.shape[:2], np.uint8)
        _fill(patch, eye, spot + reach * np.hstack([np.cos(around), np.sin(around)]), 0.0, 1)
        picture[patch > 0] = rng.uniform(0.02, 0.6, 3)


def _fill(
    canvas: NDArray[np.float32] | NDArray[np.uint8], eye: Eye, outline: Floats, z: float, v: float
) -> None:
    points = eye.project(np.column_stack([outline, np.full(len(outline), z)])) * _FINER - 0.5
    cv2.fillPoly(canvas, [np.rint(points * 16).astype(np.int32)], v, shift=4)


def _lit(picture: NDArray[np.float32], rng: Rng) -> NDArray[np.float32]:
    """Uneven light of some colour."""
    x, y = np.meshgrid(np.linspace(-1, 1, 128), np.linspace(-1, 1, 128))
    turn = rng.uniform(0, 2 * math.pi)
    light = 1 + rng.uniform(0, 0.3) * (x * math.cos(turn) + y * math.sin(turn))
    light -= rng.uniform(0, 0.3) * (x * x + y * y) / 2
    light = cv2.resize(light.astype(np.float32), picture.shape[1::-1])
    colour = rng.uniform(0.8, 1.1, 3) * rng.uniform(0.55, 1.05)
    picture *= light[..., None] * colour.astype(np.float32)
    return picture


def _taken(picture: NDArray[np.float32], scene: Scene, rng: Rng) -> NDArray[np.uint8]:
    """Blur, shake, tone and grain of the camera."""
    if scene.blur > 0.2:
        picture = cv2.GaussianBlur(picture, (0, 0), scene.blur)
    if scene.shake > 1:
        reach = math.ceil(scene.shake)
        kernel = np.zeros((2 * reach + 1,) * 2, np.float32)
        turn = rng.uniform(0, math.pi)
        way = np.array([math.cos(turn), math.sin(turn)]) * scene.shake / 2
        start, end = (np.rint(((reach, reach) + s * way) * 16).astype(int) for s in (-1, 1))
        cv2.line(kernel, start.tolist(), end.tolist(), 1.0, 1, cv2.LINE_AA, 4)
        picture = cv2.filter2D(picture, -1, kernel / kernel.sum())
    toned = np.clip(picture, 0, 1) ** (1 / 2.2)
    grain = rng.normal(0, 1, picture.shape).astype(np.float32) * scene.noise
    return np.rint(np.clip(toned + grain, 0, 1) * 255).astype(np.uint8)


def shape(rng: Rng, room: tuple[float, float]) -> Floats:
    """An outline in mm round the origin: a bar, an oval, a lobed plate or an open ring."""
    length = float(rng.uniform(18, 0.6 * min(room)))
    around = np.linspace(0, 2 * math.pi, 240, endpoint=False)
    kind = rng.integers(4)
    if kind == 0:
        wide = length * rng.uniform(0.15, 0.5)
        bend = rng.uniform(0, 0.15) * length
        x = np.clip(np.cos(around) * 1.6, -1, 1) * length / 2
        outline = np.stack([x, np.sin(around) * wide / 2 + bend * (x / length * 2) ** 2], 1)
    elif kind == 1:
        outline = np.stack([np.cos(around), np.sin(around) * rng.uniform(0.4, 1)], 1) * length / 2
    elif kind == 2:
        radius = 1 + sum(
            rng.uniform(-0.2, 0.2) / n * np.cos(n * around + rng.uniform(0, 6.3)) for n in (2, 3, 4)
        )
        outline = np.stack([np.cos(around), np.sin(around)], 1) * (radius * length / 2)[:, None]
    else:
        arc = np.linspace(0.35, 2 * math.pi - 0.35, 120)
        circle = np.stack([np.cos(arc), np.sin(arc)], 1)
        outline = np.concatenate([circle, circle[::-1] * rng.uniform(0.55, 0.75)]) * length / 2
    turn = rng.uniform(0, 2 * math.pi)
    c, s = math.cos(turn), math.sin(turn)
    return np.asarray(outline @ np.array([[c, s], [-s, c]]), np.float64)


def scene_of(rng: Rng, spoilt: str = "") -> Scene:
    """Draw a scene; ``spoilt`` is one of SPOILT or empty."""
    layout = A5 if rng.random() < 0.6 else A6
    long_side = int(rng.integers(1200, 2000))
    size = (long_side, round(long_side * 0.75))
    size = size if rng.random() < 0.7 else size[::-1]
    room = layout.room
    middle = np.array([room.x + room.width / 2, room.y + room.height / 2])
    outline = shape(rng, (room.width, room.height))
    aim = np.array([layout.width, layout.height]) / 2 + rng.uniform(-10, 10, 2)
    values = {
        "layout": layout, "size": size, "focal": long_side * rng.uniform(0.7, 1.1),
        "tilt": float(rng.uniform(0, 35)), "azimuth": float(rng.uniform(0, 360)),
        "roll": float(rng.choice([0, 90, 180, 270]) + rng.uniform(-15, 15)),
        "fill": float(rng.uniform(0.75, 0.97)), "aim": aim,
        "lens": float(rng.uniform(-0.06, 0.06)),
        "outline": outline - (outline.min(0) + outline.max(0)) / 2 + middle
        + rng.uniform(-0.08, 0.08, 2) * (room.width, room.height),
        "thickness": float(rng.uniform(1, 6)), "round_edged": bool(rng.random() < 0.5),
        "sag": float(rng.uniform(0, 0.8)) * (rng.random() < 0.3),
        "blur": float(rng.uniform(0, 1.6)) * long_side / 1600,
        "shake": float(rng.uniform(0, 5)) * (rng.random() < 0.25),
        "noise": float(rng.uniform(0, 0.025)), "quality": int(rng.integers(60, 96)),
        "spoilt": spoilt,
    }  # fmt: skip
    covered = int(rng.integers(1, 4)) if not spoilt and rng.random() < 0.25 else 0
    if spoilt == "covered":
        covered = int(rng.integers(6, 10))
    values["covered"] = tuple(rng.choice(list(layout.markers), covered, replace=False))
    if spoilt == "blurred":
        values["blur"] = long_side / 1600 * rng.uniform(5, 20)
    elif spoilt == "oblique":
        values["tilt"] = float(rng.uniform(52, 72))
    elif spoilt == "cut off":
        values["fill"] = float(rng.uniform(1.6, 2.4))
        values["aim"] = aim + rng.choice([-1, 1], 2) * [layout.width * 0.3, layout.height * 0.3]
    elif spoilt == "bent":
        values["sag"] = float(rng.uniform(8, 25))
    return Scene(**values)  # type: ignore[arg-type]


def scale_off(view: CardView, eye: Eye) -> float:
    """The largest relative error of distances in the middle half of the room."""
    room = view.layout.room
    grid = np.stack(np.meshgrid(np.linspace(0.25, 0.75, 4), np.linspace(0.25, 0.75, 4)), -1)
    mm = grid.reshape(-1, 2) * (room.width, room.height) + (room.x, room.y)
    found = view.plane.to_card(eye.project(np.column_stack([mm, np.zeros(len(mm))])))
    one, other = np.triu_indices(len(mm), 1)
    true = np.linalg.norm(mm[one] - mm[other], axis=1)
    far = true > 0.2 * room.width
    seen = np.linalg.norm(found[one] - found[other], axis=1)
    return float(np.abs(seen[far] / true[far] - 1).max())


@dataclass
class Tally:
    """What came of the photos."""

    scales: list[float] = field(default_factory=list)
    promised: list[bool] = field(default_factory=list)
    lengths: list[tuple[float, float, float]] = field(default_factory=list)
    known: list[tuple[float, float, float]] = field(default_factory=list)
    tilts: list[tuple[float, float]] = field(default_factory=list)
    refused: Counter[str] = field(default_factory=Counter)
    spoilt_measured: Counter[str] = field(default_factory=Counter)
    good_refused: Counter[str] = field(default_factory=Counter)
    no_outline: Counter[str] = field(default_factory=Counter)


def judge(scene: Scene, rng: Rng, tally: Tally, encoder: FindsObjects | None) -> Image.Image:
    """Take and measure one photo."""
    photo, eye = photograph(scene, rng)
    try:
        view = find_card(photo)
    except CardError as error:
        tally.refused[f"{scene.spoilt or 'good photo'}: {error.reason}"] += 1
        if not scene.spoilt:
            tally.good_refused[error.reason] += 1
        return photo
    if scene.spoilt == "no card":
        tally.scales.append(1.0)  # a card seen where there is none is wrong by any measure
        return photo
    off = scale_off(view, eye)
    tally.scales.append(off)
    tally.promised.append(off <= view.scale_error)
    if scene.spoilt:
        tally.spoilt_measured[f"{scene.spoilt} ({100 * off:.2f} %)"] += 1
        return photo
    true_tilt = math.degrees(math.acos(-eye.turn[2, 2]))
    tally.tilts.append((view.camera.tilt - true_tilt, view.camera.height / eye.place[2] - 1))
    true = float(pdist(scene.outline).max())
    for thickness, into in ((None, tally.lengths), (scene.thickness, tally.known)):
        try:
            found = measure_on_card(photo, view=view, thickness_mm=thickness, encoder=encoder)
            into.append((found.length_mm - true, found.error_mm, true))
        except MeasureError as error:
            tally.no_outline[error.message] += 1
            break
    return photo


def scenes(count: int, rng: Rng) -> Iterator[Scene]:
    """Every fifth one spoilt, in each way in turn."""
    for number in range(count):
        spoilt = SPOILT[number // 5 % len(SPOILT)] if number % 5 == 4 else ""
        yield scene_of(rng, spoilt)


def report(tally: Tally, count: int, say: Callable[[str], None] = print) -> None:
    """Print the figures."""
    scales = np.array(tally.scales)
    wrong = int((scales > BAR).sum())
    say(f"{count} rendered photos, {len(scales)} measured, {sum(tally.refused.values())} refused")
    if len(scales):
        say(
            f"card scale: median error {100 * np.median(scales):.3f} %, largest "
            f"{100 * scales.max():.3f} %; wrong answers (over {100 * BAR:g} %): {wrong}"
        )
        say(f"  within the error promised: {sum(tally.promised)} of {len(tally.promised)}")
    say("refused: " + "; ".join(f"{n} {why}" for why, n in sorted(tally.refused.items())))
    say(f"good photos refused: {sum(tally.good_refused.values())}")
    say("spoilt, measured all the same: " + ("; ".join(tally.spoilt_measured) or "none"))
    if tally.tilts:
        tilt, height = np.abs(np.array(tally.tilts)).T
        say(
            f"camera: tilt off by {np.median(tilt):.1f} (largest {tilt.max():.1f}) degrees, "
            f"height by {100 * np.median(height):.0f} (largest {100 * height.max():.0f}) %"
        )
    for name, rows in (("thickness not given", tally.lengths), ("thickness given", tally.known)):
        if not rows:
            continue
        off, error, true = np.array(rows).T
        share, most = np.abs(off) / true, np.quantile(np.abs(off), 0.95)
        say(
            f"length, {name} (n = {len(rows)}): error median {np.median(np.abs(off)):.2f} mm "
            f"({100 * np.median(share):.1f} %), 95 in 100 below {most:.2f}"
            f" mm, largest {np.abs(off).max():.2f} mm, mean {off.mean():+.2f} mm; stated error "
            f"median {np.median(error):.2f} mm; truth within it in {(np.abs(off) <= error).sum()}"
        )
    for why, number in tally.no_outline.items():
        say(f"no length ({number}): {why}")


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--photos", type=int, default=200)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--no-encoder", action="store_true", help="outlines by the paper only")
    arguments.add_argument("--keep", type=Path, help="folder for the photos")
    given = arguments.parse_args()
    encoder = None
    if not given.no_encoder:
        from simsearch.encode import load_encoder

        encoder = load_encoder("built-in")
    rng, tally = np.random.default_rng(given.seed), Tally()
    for number, scene in enumerate(scenes(given.photos, rng)):
        photo = judge(scene, rng, tally, encoder)
        if given.keep:
            given.keep.mkdir(parents=True, exist_ok=True)
            photo.save(given.keep / f"{number:03d}-{scene.spoilt or 'good'}-rendered.jpg")
    report(tally, given.photos)


if __name__ == "__main__":
    main()
