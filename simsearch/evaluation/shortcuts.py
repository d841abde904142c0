"""Does anything give a type away that should not: the ground, or the colour of the object?

Rendered finds are looked up among each other by what lies around the object alone, and by the
object's colours alone. Both should be at chance: 1 in as many as there are types. And an encoder
should say nearly the same of an object on another ground or of another colour.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import torch
from PIL import Image
from scipy.ndimage import binary_dilation  # type: ignore[import-untyped]
from skimage.color import hsv2rgb, rgb2hsv

from simsearch.encode import Encoder
from simsearch.evaluation.metrics import (
    bootstrap_interval,
    class_mean,
    leave_out,
    recall_at,
    relevance_by_rank,
)
from simsearch.synthetic import scene
from simsearch.synthetic.batch import pack
from simsearch.synthetic.render import Shot, render
from simsearch.synthetic.specimens import specimen

Floats = npt.NDArray[np.float32]
Pixels = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Finds:
    """Rendered finds ``pixels (n, S, S, 3)``, where the object is ``mask (n, S, S)``, types."""

    pixels: Pixels
    mask: npt.NDArray[np.bool_]
    labels: tuple[str, ...]


@dataclass(frozen=True)
class Leak:
    """How often the right type comes first, or among five, with bootstrap 95 % intervals."""

    recall_1: float
    interval_1: tuple[float, float]
    recall_5: float
    interval_5: tuple[float, float]


def rendered_finds(type_ids: Sequence[str], specimens: int, size: int, seed: int = 0) -> Finds:
    """One picture each of ``specimens`` objects of every type, as finders photograph them."""
    pixels, masks, labels = [], [], []
    for number in range(specimens):
        batch = pack([specimen(t, f"shortcuts {seed}", number) for t in type_ids])
        shots = render(batch, Shot(view="front"), size, seed=seed * 1000 + number, parts=False)
        pixels.append(_eight_bits(shots.picture))
        masks.append(shots.mask.numpy())
        labels += list(type_ids)
    return Finds(np.concatenate(pixels), np.concatenate(masks), tuple(labels))


def _eight_bits(pictures: torch.Tensor) -> Pixels:
    return (pictures.permute(0, 2, 3, 1).numpy() * 255).round().astype(np.uint8)


def ground_only(finds: Finds, share: float = 0.16) -> list[Image.Image]:
    """The corner of each picture that shows least of the object, enlarged to the whole.

    A corner, and not the picture with a hole in it: the shape of a hole would be that of the
    object. Pixels of the object that reach into the corner take colours of the ground there.
    """
    size = finds.pixels.shape[1]
    side = max(4, round(size * share))
    ends = (slice(0, side), slice(size - side, size))
    out = []
    for i, (picture, mask) in enumerate(zip(finds.pixels, finds.mask, strict=True)):
        rows, cols = min(((r, c) for r in ends for c in ends), key=lambda rc: mask[rc].sum())
        # Blur carries the object a few pixels past its mask.
        corner, on = picture[rows, cols].copy(), binary_dilation(mask, iterations=3)[rows, cols]
        ground = corner[~on] if (~on).any() else picture[~mask]
        if on.any():
            rng = np.random.default_rng(i)
            corner[on] = ground[rng.integers(0, len(ground), int(on.sum()))]
        out.append(Image.fromarray(corner).resize((size, size), Image.Resampling.BICUBIC))
    return out


def mean_colours(finds: Finds) -> Floats:
    """Mean colour of each object ``(n, 3)``, 0..1."""
    pairs = zip(finds.pixels, finds.mask, strict=True)
    return np.stack([p[m].mean(0) / 255 for p, m in pairs]).astype(np.float32)


def colour_histograms(finds: Finds, bins: int = 6) -> Floats:
    """Square roots of the shares of the object's pixels in ``bins`` cubed cells of RGB."""
    rows = []
    for picture, mask in zip(finds.pixels, finds.mask, strict=True):
        counts, _ = np.histogramdd(picture[mask] / 255, bins=bins, range=[(0, 1)] * 3)
        rows.append(np.sqrt(counts.ravel() / max(1.0, counts.sum())))
    return np.stack(rows).astype(np.float32)


def leak(scores: npt.NDArray[np.floating], labels: Sequence[str]) -> Leak:
    """How often each picture's type is found by ``scores (n, n)`` among the other pictures."""
    rows = relevance_by_rank(scores, labels, labels, leave_out(range(len(labels))))
    one, five = recall_at(rows, 1), recall_at(rows, 5)
    return Leak(
        class_mean(one, labels), bootstrap_interval(one, labels),
        class_mean(five, labels), bootstrap_interval(five, labels),
    )  # fmt: skip


def by_distance(values: Floats) -> Floats:
    """Scores ``(n, n)``: minus the distance of each two rows."""
    return -np.linalg.norm(values[:, None] - values[None], axis=2)


def chance(labels: Sequence[str], k: int) -> float:
    """Share of the finds whose type is among ``k`` others drawn blindly."""
    n = len(labels) - 1
    found = []
    for label in labels:
        wrong = n - (list(labels).count(label) - 1)
        missed = 1.0
        for j in range(k):
            missed *= max(0, wrong - j) / (n - j)
        found.append(1 - missed)
    return float(np.mean(found))


def on_other_ground(finds: Finds, seed: int = 0) -> Pixels:
    """The same object pixels on freshly drawn grounds."""
    size = finds.pixels.shape[1]
    g = torch.Generator().manual_seed(zlib.crc32(f"ground {seed}".encode()))
    grounds = scene.clutter(scene.background(len(finds.labels), size, g), g)
    return np.where(finds.mask[..., None], finds.pixels, _eight_bits(grounds.clamp(0, 1) ** 0.6))


def recoloured(finds: Finds, seed: int = 0) -> Pixels:
    """The same pictures with the objects' hue turned and their saturation and tone changed."""
    rng = np.random.default_rng(seed)
    hsv = rgb2hsv(finds.pixels)
    n = len(hsv)
    hsv[..., 0] = (hsv[..., 0] + rng.uniform(0, 1, (n, 1, 1))) % 1
    hsv[..., 1] = np.clip(hsv[..., 1] * rng.uniform(0.2, 1.6, (n, 1, 1)), 0, 1)
    hsv[..., 2] = np.clip(hsv[..., 2] * rng.uniform(0.7, 1.3, (n, 1, 1)), 0, 1)
    other = (hsv2rgb(hsv) * 255).round().astype(np.uint8)
    return np.where(finds.mask[..., None], other, finds.pixels)


def cosine_drop(encoder: Encoder, before: Pixels, after: Pixels) -> float:
    """One less the mean cosine of the vectors of each picture before and after."""
    a, b = (encoder.embed([Image.fromarray(p) for p in some]) for some in (before, after))
    return float(1 - (a * b).sum(1).mean())
