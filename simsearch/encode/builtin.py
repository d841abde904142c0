"""The encoder that ships with the package: no download, no network.

A photo is looked at twice: once whole, to find the object by the network's mask, and once as a
square cut around it. The vector is the mean over four quarter turns, since a find has no agreed
way up in a photo.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from operator import is_
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import torch
import torch.nn.functional as F
from PIL import Image
from safetensors import SafetensorError
from safetensors.torch import load as read_safetensors
from torch import Tensor

from simsearch.encode.framing import FILL, Square, cut, square_around, whole
from simsearch.encode.network import Network, Outputs, Shape
from simsearch.errors import EncoderError

WEIGHTS = Path(__file__).parent / "weights" / "built-in.safetensors"
#: Side in pixels of the pictures the network sees: to find the object, and to encode it.
FIND_SIZE, SIZE = 192, 192
TURNS = 4
_BATCH = 8
_SETTINGS = f"find {FIND_SIZE}, size {SIZE}, turns {TURNS}, fill {FILL}, patches as long as visible"

Floats = npt.NDArray[np.float32]


class _Seen(NamedTuple):
    """A chunk of photos and what the network made of it."""

    photos: list[Image.Image]
    squares: list[Square]
    vectors: Floats
    patches: Floats
    masks: Floats


class BuiltIn:
    """The built-in encoder. ``patches`` are of the square around the object, not the photo.

    ``weights`` is the content of a safetensors file that training wrote; ``device`` is a torch
    device, for those who have a GPU. Raises EncoderError for weights that do not fit.
    """

    name = "built-in"

    def __init__(self, weights: bytes, *, device: str = "cpu") -> None:
        try:
            self._network = Network(_shape(weights))
            state = {k: v.float() for k, v in read_safetensors(weights).items()}
            self._network.load_state_dict(_counters(self._network) | state)
        except (SafetensorError, RuntimeError, ValueError, TypeError) as error:
            raise EncoderError(
                "The weights of the built-in encoder are damaged or of another version.",
                hint="Install simsearch again.",
            ) from error
        self._network = self._network.folded().to(device)
        self._device = device
        # bfloat16 takes a third of the time where the processor has it (scripts/time_precisions.py)
        # and moves no vector by more than a thousandth; elsewhere it would be slower.
        self._brief = device == "cpu" and _has_bfloat16()
        self._last_seen: _Seen | None = None
        self.dim = self._network.shape.dim
        self.fingerprint = hashlib.sha256(weights + _SETTINGS.encode()).hexdigest()

    def embed(self, photos: list[Image.Image]) -> Floats:
        """Unit vectors, float32 ``(n, 256)``."""
        rows = [self._seen(chunk).vectors for chunk in _chunks(photos)]
        return np.concatenate(rows) if rows else np.zeros((0, self.dim), np.float32)

    def patches(self, photos: list[Image.Image]) -> Floats:
        """Patch vectors, float32 ``(n, G, G, 64)``, of the square around each object.

        The direction of a vector says what is seen there; its length, 0 to 1, how much of the
        patch is object.
        """
        rows = [self._seen(chunk).patches for chunk in _chunks(photos)]
        shape = self._network.shape
        grid = SIZE // shape.patch
        empty = np.zeros((0, grid, grid, shape.patch_dim), np.float32)
        return np.concatenate(rows) if rows else empty

    def masks(self, photos: list[Image.Image]) -> Floats:
        """How likely each point of the square is of the object, float32 ``(n, SIZE/4, SIZE/4)``."""
        rows = [self._seen(chunk).masks for chunk in _chunks(photos)]
        return np.concatenate(rows) if rows else np.zeros((0, SIZE // 4, SIZE // 4), np.float32)

    def squares(self, photos: list[Image.Image]) -> list[Square]:
        """Where the object is in each photo; the whole photo where none was found."""
        return [square for chunk in _chunks(photos) for square in self._seen(chunk).squares]

    def _seen(self, photos: list[Image.Image]) -> _Seen:
        """All that is to be had of one chunk; kept, since whoever asks for one output often asks
        for the others."""
        last = self._last_seen
        if last and len(last.photos) == len(photos) and all(map(is_, last.photos, photos)):
            return last
        squares = self._found(photos)
        pictures = _tensor([cut(p, s, SIZE) for p, s in zip(photos, squares, strict=True)])
        with torch.inference_mode():
            turned = [self._run(pictures.rot90(q, (2, 3))) for q in range(TURNS)]
            vectors = F.normalize(torch.stack([out.vector for out in turned]).sum(0), dim=1)
            back = [out.patches.rot90(-q, (1, 2)) for q, out in enumerate(turned)]
            patches = F.normalize(torch.stack(back).sum(0), dim=-1)
            back = [out.mask.rot90(-q, (1, 2)).sigmoid() for q, out in enumerate(turned)]
            masks = torch.stack(back).mean(0)
            visible = F.adaptive_avg_pool2d(masks[:, None], patches.shape[1])[:, 0, ..., None]
            patches = patches * visible
        self._last_seen = seen = _Seen(
            list(photos), squares, *(t.cpu().numpy() for t in (vectors, patches, masks))
        )
        return seen

    def _found(self, photos: list[Image.Image]) -> list[Square]:
        frames = [whole(p) for p in photos]
        small = _tensor([cut(p, s, FIND_SIZE) for p, s in zip(photos, frames, strict=True)])
        with torch.inference_mode():
            masks = self._run(small).mask.sigmoid().cpu().numpy()
        return [square_around(m, s) or s for m, s in zip(masks, frames, strict=True)]

    def _run(self, pictures: Tensor) -> Outputs:
        pictures = pictures.to(self._device).contiguous(memory_format=torch.channels_last)
        with torch.autocast("cpu", torch.bfloat16, enabled=self._brief):
            out: Outputs = self._network(pictures)
        return Outputs(out.vector, out.patches, out.mask.float())


def _has_bfloat16() -> bool:
    """Whether this processor multiplies bfloat16 itself."""
    has = torch.cpu.get_capabilities()
    return any(has.get(name) for name in ("avx512_bf16", "amx_bf16", "bf16"))


def _shape(weights: bytes) -> Shape:
    """The sizes that the weights name in their header; the first weights named none."""
    length = int.from_bytes(weights[:8], "little")
    words = json.loads(weights[8 : 8 + length]).get("__metadata__", {}).get("shape")
    return Shape.read(words) if words else Shape()


def _counters(network: Network) -> dict[str, Tensor]:
    """The step counters of the norms, which the weights file does without."""
    return {k: v for k, v in network.state_dict().items() if k.endswith("num_batches_tracked")}


def _chunks(photos: list[Image.Image]) -> list[list[Image.Image]]:
    return [photos[i : i + _BATCH] for i in range(0, len(photos), _BATCH)]


def _tensor(pictures: list[Image.Image]) -> Tensor:
    """Pictures of one size as ``[n, 3, S, S]`` in 0..1."""
    rows = np.stack([np.asarray(p, np.float32) / 255 for p in pictures])
    return torch.from_numpy(rows).permute(0, 3, 1, 2)


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
