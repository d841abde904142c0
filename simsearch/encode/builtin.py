"""The encoder that ships with the package: no download, no network.

A photo is looked at twice: once whole, to find the object by the network's mask, and once as a
square cut around it. The vector is the mean over four quarter turns, since a find has no agreed
way up in a photo.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from operator import is_
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import torch
from PIL import Image
from safetensors import SafetensorError
from safetensors.torch import load as read_safetensors
from torch import Tensor

from simsearch.encode.framing import FILL, Square, cut, square_around, whole
from simsearch.encode.network import Network, Outputs
from simsearch.errors import EncoderError

WEIGHTS = Path(__file__).parent / "weights" / "built-in.safetensors"
#: Side in pixels of the pictures the network sees: to find the object, and to encode it.
FIND_SIZE, SIZE = 192, 192
TURNS = 4
_BATCH = 8
_SETTINGS = f"find {FIND_SIZE}, size {SIZE}, turns {TURNS}, fill {FILL}"

Floats = npt.NDArray[np.float32]


class _Seen(NamedTuple):
    """A chunk of photos and what the network made of it."""

    photos: list[Image.Image]
    vectors: Floats
    patches: Floats


class BuiltIn:
    """The built-in encoder. ``patches`` are of the square around the object, not the photo."""

    name = "built-in"

    def __init__(self, weights: bytes) -> None:
        self._network = Network()
        try:
            state = {k: v.float() for k, v in read_safetensors(weights).items()}
            self._network.load_state_dict(_counters(self._network) | state)
        except (SafetensorError, RuntimeError) as error:
            raise EncoderError(
                "The weights of the built-in encoder are damaged or of another version.",
                hint="Install simsearch again.",
            ) from error
        self._network.eval()
        self._last_seen: _Seen | None = None
        self.dim = self._network.shape.dim
        self.fingerprint = hashlib.sha256(weights + _SETTINGS.encode()).hexdigest()

    def embed(self, photos: list[Image.Image]) -> Floats:
        """Unit vectors, float32 ``(n, 256)``."""
        rows = [self._seen(chunk).vectors for chunk in _chunks(photos)]
        return np.concatenate(rows) if rows else np.zeros((0, self.dim), np.float32)

    def patches(self, photos: list[Image.Image]) -> Floats:
        """Unit patch vectors, float32 ``(n, 12, 12, 64)``, of the square around each object."""
        grid = SIZE // 16
        rows = [self._seen(chunk).patches for chunk in _chunks(photos)]
        empty = np.zeros((0, grid, grid, self._network.shape.patch_dim), np.float32)
        return np.concatenate(rows) if rows else empty

    def squares(self, photos: list[Image.Image]) -> list[Square]:
        """Where the object is in each photo; the whole photo where none was found."""
        found: list[Square] = []
        for chunk in _chunks(photos):
            seen = [whole(p) for p in chunk]
            out = self._run([cut(p, s, FIND_SIZE) for p, s in zip(chunk, seen, strict=True)])
            masks = out.mask.sigmoid().numpy()
            found += [square_around(m, s) or s for m, s in zip(masks, seen, strict=True)]
        return found

    def _seen(self, photos: list[Image.Image]) -> _Seen:
        """Both outputs of one chunk; kept, since whoever asks for one often asks for the other."""
        last = self._last_seen
        if last and len(last.photos) == len(photos) and all(map(is_, last.photos, photos)):
            return last
        squares = self.squares(photos)
        pictures = _tensor([cut(p, s, SIZE) for p, s in zip(photos, squares, strict=True)])
        with torch.inference_mode():
            turned = [self._network(_last(pictures.rot90(q, (2, 3)))) for q in range(TURNS)]
            total = torch.stack([out.vector for out in turned]).sum(0)
            vectors = torch.nn.functional.normalize(total, dim=1).numpy()
        self._last_seen = seen = _Seen(list(photos), vectors, turned[0].patches.numpy())
        return seen

    def _run(self, pictures: list[Image.Image]) -> Outputs:
        with torch.inference_mode():
            out: Outputs = self._network(_last(_tensor(pictures)))
        return out


def _counters(network: Network) -> dict[str, Tensor]:
    """The step counters of the norms, which the weights file does without."""
    return {k: v for k, v in network.state_dict().items() if k.endswith("num_batches_tracked")}


def _chunks(photos: list[Image.Image]) -> list[list[Image.Image]]:
    return [photos[i : i + _BATCH] for i in range(0, len(photos), _BATCH)]


def _tensor(pictures: list[Image.Image]) -> Tensor:
    """Pictures of one size as ``[n, 3, S, S]`` in 0..1."""
    rows = np.stack([np.asarray(p, np.float32) / 255 for p in pictures])
    return torch.from_numpy(rows).permute(0, 3, 1, 2)


def _last(pictures: Tensor) -> Tensor:
    return pictures.contiguous(memory_format=torch.channels_last)


@lru_cache(maxsize=1)
def load() -> BuiltIn:
    """Read the weights once; raises EncoderError when they are missing or damaged."""
    try:
        return BuiltIn(WEIGHTS.read_bytes())
    except FileNotFoundError as error:
        raise EncoderError(
            f"The weights of the built-in encoder are missing: {WEIGHTS}.",
            hint="Install simsearch again.",
        ) from error
