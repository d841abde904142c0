"""Turning any Pillow mode into plain 8-bit sRGB on a white ground."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import numpy as np
from PIL import Image, ImageCms

WHITE = (255, 255, 255)
_PALETTES_TO = {"P": "RGBA", "PA": "RGBA", "La": "LA", "RGBa": "RGBA"}
# What the colour engine can read directly.
_PROFILED_MODES = {"L", "RGB", "CMYK", "LAB"}


def to_rgb(image: Image.Image, *, bits: int = 16, inverted: bool = False) -> Image.Image:
    """Return ``image`` as RGB in sRGB, transparent parts laid on white.

    An embedded colour profile is applied; one that is broken or belongs to another kind of
    image is ignored. ``bits`` is the depth of the samples of a mode I;16 image (a 12-bit
    scanner fills only part of the 16), ``inverted`` says that its zero means white.
    """
    if image.mode == "F" or image.mode.startswith("I"):
        return _deep_grey(image, bits, inverted).convert("RGB")
    profile = image.info.get("icc_profile")
    plain, alpha = _split_alpha(image)
    rgb = _apply_profile(plain, profile) or _convert(plain)
    if alpha is None:
        return rgb
    ground = Image.new("RGB", rgb.size, WHITE)
    ground.paste(rgb, mask=alpha)
    return ground


def has_transparency(image: Image.Image) -> bool:
    """Say whether parts of ``image`` may be see-through."""
    return image.mode in {"LA", "La", "PA", "RGBA", "RGBa"} or "transparency" in image.info


def _split_alpha(image: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    """Return the opaque colours of ``image`` and its alpha channel as mode L, or None."""
    if has_transparency(image) and image.mode in {"1", "L", "RGB"}:
        image = image.convert("RGBA")  # one colour is declared transparent
    image = image.convert(_PALETTES_TO[image.mode]) if image.mode in _PALETTES_TO else image
    if image.mode not in {"LA", "RGBA"}:
        return image, None
    # Dropping the alpha channel keeps the stored colours: they are mixed with white once.
    return image.convert(image.mode[:-1]), image.getchannel("A")


def _convert(image: Image.Image) -> Image.Image:
    """Convert without a profile; CIE Lab is the one mode Pillow leaves to the colour engine."""
    if image.mode == "LAB":
        lab = ImageCms.createProfile("LAB")
        converted = _through(image, lab)
        if converted is not None:
            return converted
    return image.convert("RGB")


def _apply_profile(image: Image.Image, profile: Any) -> Image.Image | None:
    """Return ``image`` taken from ``profile`` (ICC bytes) to sRGB, or None if that fails."""
    if not isinstance(profile, bytes) or not profile or image.mode not in _PROFILED_MODES:
        return None
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
    except (ImageCms.PyCMSError, OSError, TypeError):
        return None
    return _through(image, source)


def _through(image: Image.Image, source: Any) -> Image.Image | None:
    try:
        return ImageCms.profileToProfile(
            image, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return None


def _deep_grey(image: Image.Image, bits: int, inverted: bool) -> Image.Image:
    """Return a mode L image of a grey picture with more than 8 bits a sample.

    I;16 is divided by its full scale. Modes I and F carry no scale: values within 0..65535
    (mode I) or 0..1 (mode F) are taken as such, anything else is stretched between its lowest
    and highest value.
    """
    values = np.asarray(image).astype(np.float64)
    low, high = 0.0, float(2**bits - 1)
    if image.mode in {"I", "F"}:
        values = np.nan_to_num(values, nan=0.0, posinf=0.0, neginf=0.0)
        high = 65535.0 if image.mode == "I" else 1.0
        if values.min() < 0 or values.max() > high:
            low, high = float(values.min()), float(values.max())
    scaled = np.clip((values - low) / (high - low), 0, 1) * 255
    if inverted:
        scaled = 255 - scaled
    return Image.fromarray(np.rint(scaled).astype(np.uint8))
