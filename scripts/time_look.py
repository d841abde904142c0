"""Time looking up one 12-megapixel photo: python scripts/time_look.py

Prints seconds from a cold shell (a fresh process, imports included), seconds after start (median
of 5), and the ratio of the encoding alone to an untrained open_clip ViT-B-32 on the same photo.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

import simsearch
from simsearch.encode import load_encoder
from simsearch.photo import open_photo


def median(work: Callable[[], object], times: int = 5) -> float:
    """Median seconds of a few calls after one that does not count."""
    work()
    seconds = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - began)
    return statistics.median(seconds)


def phone_photo(path: Path) -> None:
    """A shipped picture enlarged to 4000 x 3000 with noise, saved as JPEG."""
    reference = simsearch.open_set()
    small = Image.open(reference.path_of(reference.photos[0])).convert("RGB")
    pixels = np.asarray(small.resize((4000, 3000)), np.int16)
    noise = np.random.default_rng(0).integers(-8, 8, pixels.shape)
    Image.fromarray((pixels + noise).clip(0, 255).astype(np.uint8)).save(path, quality=90)


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "phone.jpg"
        phone_photo(path)
        began = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "simsearch", "look", str(path)], check=False, capture_output=True
        )
        cold = time.perf_counter() - began
        reference, encoder = simsearch.open_set(), load_encoder()
        warm = median(lambda: reference.look(path))
        photo = open_photo(path, max_side=640)
        own = median(lambda: encoder.embed([photo.copy()]))
        print(f"cold {cold:.2f} s, after start {warm:.3f} s, encoding {1000 * own:.0f} ms")
        import torch

        from simsearch.encode._torchvision import import_torchvision

        import_torchvision()
        import open_clip

        tower = open_clip.create_model("ViT-B-32").visual.eval()
        picture = torch.rand(1, 3, 224, 224)
        with torch.inference_mode():
            other = median(lambda: tower(picture))
        print(f"untrained ViT-B-32: {1000 * other:.0f} ms; ratio {own / other:.2f}")


if __name__ == "__main__":
    main()
