"""Blur, grounds and JPEG against general-purpose libraries and their own limits."""

from __future__ import annotations

import io

import numpy as np
import pytest
import torch
from PIL import Image
from scipy.ndimage import gaussian_filter

from simsearch.synthetic import grounds
from simsearch.synthetic.camera import CHROMA, LUMA, jpeg, photographed
from simsearch.synthetic.noise import blur


def _smooth(size: int) -> torch.Tensor:
    rng = np.random.default_rng(0)
    field = gaussian_filter(rng.standard_normal((3, size, size)), (0, 3, 3)) * 2 + 0.5
    return torch.from_numpy(field.clip(0, 1).astype(np.float32))[None]


@pytest.mark.parametrize("radius", [0.6, 1.1, 3.0, 5.0])
def test_blur_is_that_of_scipy(radius: float) -> None:
    image = _smooth(96)
    expected = gaussian_filter(image[0].numpy(), (0, radius, radius), mode="nearest")
    inside = slice(20, -20)
    found = blur(image, radius)[0].numpy()[:, inside, inside]
    np.testing.assert_allclose(found, expected[:, inside, inside], atol=0.02)


@pytest.mark.parametrize("quality", [25, 50, 90])
def test_jpeg_loses_what_pillow_loses(quality: int) -> None:
    image = _smooth(96) + 0.08 * torch.randn(1, 3, 96, 96, generator=torch.Generator())
    image = image.clamp(0, 1)
    pixels = (image[0].permute(1, 2, 0).numpy() * 255).round().astype(np.uint8)
    file = io.BytesIO()
    tables = [[v for row in t for v in row] for t in (LUMA, CHROMA)]
    scale = 50 / quality if quality < 50 else 2 - quality / 50
    tables = [[min(255, max(1, round(v * scale))) for v in t] for t in tables]
    Image.fromarray(pixels).save(file, "JPEG", qtables=tables, subsampling=2)
    theirs = np.asarray(Image.open(file), float) / 255
    ours = jpeg(image, torch.tensor([float(quality)]))[0].permute(1, 2, 0).numpy().clip(0, 1)
    lost = np.abs(theirs - pixels / 255).mean()
    assert np.abs(ours - theirs).mean() < 0.35 * lost + 0.004


@pytest.mark.parametrize("size", [36, 48])
def test_grounds_and_photos_stay_in_range_and_repeat(size: int) -> None:
    one, two = (
        photographed(grounds.ground(40, size, g), g)
        for g in (torch.Generator().manual_seed(4), torch.Generator().manual_seed(4))
    )
    assert one.shape == (40, 3, size, size) and torch.equal(one, two)
    assert torch.isfinite(one).all() and one.min() >= 0 and one.max() <= 1
    assert len({round(float(v), 4) for v in one.mean((1, 2, 3))}) > 35
