"""The renderer of ``scripts/evaluate_card.py`` for tests: one photo of the card at a time."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
from PIL import Image

import simsearch
from simsearch.measure.layout import A6, Layout

SCRIPT = Path(simsearch.__file__).parents[1] / "scripts" / "evaluate_card.py"


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("evaluate_card", SCRIPT)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["evaluate_card"] = module  # its dataclasses look themselves up there
    spec.loader.exec_module(module)
    return module


script = _script()


def disc(diameter: float, layout: Layout = A6) -> np.ndarray:
    """A round outline in the middle of the room, mm."""
    around = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    room = layout.room
    middle = [room.x + room.width / 2, room.y + room.height / 2]
    return np.stack([np.cos(around), np.sin(around)], 1) * diameter / 2 + middle


def scene(**changes: object):
    """A plain scene: A6 card, tilted by 20 degrees, a disc of 30 mm that is 1 mm thick on it."""
    drawn = script.scene_of(np.random.default_rng(3))
    plain = replace(
        drawn, layout=A6, size=(1200, 900), focal=1000.0, tilt=20.0, azimuth=30.0, roll=5.0,
        fill=0.9, aim=np.array([74.0, 52.5]), lens=0.02, outline=disc(30.0), thickness=1.0,
        round_edged=True, sag=0.0, blur=0.6, shake=0.0, noise=0.01, quality=90, covered=(),
    )  # fmt: skip
    return replace(plain, **changes)


def photo_of(one, seed: int = 1) -> tuple[Image.Image, object]:
    """The photo of a scene and the true camera."""
    return script.photograph(one, np.random.default_rng(seed))
