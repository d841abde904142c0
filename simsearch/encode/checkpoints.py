"""Public or local checkpoints through open_clip, imported only when one is asked for."""

from __future__ import annotations

import difflib
import hashlib
import json
import os
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from simsearch.encode._torchvision import import_torchvision
from simsearch.errors import EncoderError

if TYPE_CHECKING:
    import torch

_BATCH = 16
_SUFFIXES = {".safetensors", ".pt", ".pth", ".bin"}
_PREPROCESSING = ("mean", "std", "interpolation", "resize_mode")
# Part of the fingerprint: change it when the code below would give other vectors.
_RECIPE = "padded to a square with the median border colour; visual tower; unit vectors; 1"


@dataclass(frozen=True)
class _Weights:
    """A checkpoint file on this computer and how its photos were prepared in training."""

    path: Path
    preprocessing: dict[str, Any]
    quick_gelu: bool


class CheckpointEncoder:
    """The visual tower of an open_clip model. Follows the Encoder protocol."""

    def __init__(
        self,
        name: str,
        visual: torch.nn.Module,
        prepare: Callable[[Image.Image], torch.Tensor],
        fingerprint: str,
    ) -> None:
        self.name = name
        self.fingerprint = fingerprint
        self._visual = visual
        self._prepare = prepare
        self._grid: tuple[int, int] | None = getattr(visual, "grid_size", None)
        self._has_tokens = hasattr(visual, "output_tokens") and self._grid is not None
        if self._has_tokens:
            visual.output_tokens = True  # type: ignore[assignment]
        blank = Image.new("RGB", (32, 32), (127, 127, 127))
        self.dim = int(next(self._run([blank]))[0].shape[1])

    def embed(self, photos: list[Image.Image]) -> npt.NDArray[np.float32]:
        """Return float32 ``(n, dim)``, rows of unit length."""
        if not photos:
            return np.zeros((0, self.dim), np.float32)
        return _unit(np.concatenate([vectors for vectors, _ in self._run(photos)]))

    def patches(self, photos: list[Image.Image]) -> npt.NDArray[np.float32]:
        """Return float32 ``(n, rows, cols, pdim)``, each patch vector of unit length.

        Raises EncoderError for a network that gives no such grid (one without patch tokens).
        """
        if not self._has_tokens or self._grid is None:
            raise EncoderError(
                f"The encoder {self.name} gives no patch vectors.",
                hint="Use the built-in encoder or a vision transformer such as ViT-B-32.",
            )
        rows, cols = self._grid
        found = [tokens for _, tokens in self._run(photos or [Image.new("RGB", (8, 8))])]
        tokens = np.concatenate(found)[: len(photos)]
        if tokens.shape[1] != rows * cols:
            raise EncoderError(f"The encoder {self.name} pools its patches into fewer vectors.")
        return _unit(tokens).reshape(len(photos), rows, cols, tokens.shape[-1])

    def _run(self, photos: list[Image.Image]) -> Iterator[tuple[npt.NDArray[np.float32], Any]]:
        """Yield (vectors, tokens or None) for one batch after another."""
        import torch

        with torch.inference_mode():
            for start in range(0, len(photos), _BATCH):
                batch = [self._prepare(_square(photo)) for photo in photos[start : start + _BATCH]]
                output = self._visual(torch.stack(batch))
                vectors, tokens = output if isinstance(output, tuple) else (output, None)
                yield vectors.numpy(), None if tokens is None else tokens.numpy()


def load(name: str, reference: str) -> CheckpointEncoder:
    """Return the encoder for ``reference`` (``ARCHITECTURE/TAG`` or ``ARCHITECTURE/FILE``).

    ``name`` is what the encoder is to be called. A tag is downloaded unless it is in the cache.
    Raises EncoderError, saying what to do, for anything that keeps it from being used.
    """
    architecture, _, rest = reference.partition("/")
    open_clip = _open_clip()
    _check_architecture(open_clip, architecture)
    weights = _find_weights(open_clip, architecture, rest)
    try:
        model = open_clip.create_model(
            architecture,
            pretrained=str(weights.path),
            force_quick_gelu=weights.quick_gelu,
            force_preprocess_cfg=weights.preprocessing,
            weights_only=True,
        )
    except Exception as error:  # open_clip, torch and safetensors each have their own
        raise EncoderError(
            f"The checkpoint {weights.path} could not be loaded as {architecture}: "
            f"{' '.join(str(error).split())[:300]}",
            hint="Check that the file belongs to this architecture and is complete.",
        ) from error
    visual = model.visual.eval()
    settings = open_clip.transform.PreprocessCfg(**visual.preprocess_cfg)
    prepare = open_clip.transform.image_transform_v2(settings, is_train=False)
    config = open_clip.get_model_config(architecture)
    fingerprint = _fingerprint([architecture, config, asdict(settings), weights.quick_gelu], visual)
    return CheckpointEncoder(name, visual, prepare, fingerprint)


def _open_clip() -> Any:
    import_torchvision()
    try:
        import open_clip
    except ImportError as error:
        raise EncoderError(
            f"This encoder needs the package open_clip ({error}).",
            hint="Run: pip install open_clip_torch",
        ) from error
    return open_clip


def _check_architecture(open_clip: Any, architecture: str) -> None:
    known = open_clip.list_models()
    if architecture not in known:
        close = difflib.get_close_matches(architecture, known, 5, 0.3) or known[:5]
        raise EncoderError(
            f"open_clip has no architecture called {architecture!r}.",
            hint=f"Close to it are: {', '.join(close)}. Write open_clip:ARCHITECTURE/TAG.",
        )


def _find_weights(open_clip: Any, architecture: str, rest: str) -> _Weights:
    """Return the checkpoint that ``rest`` names: a known tag, or else a file."""
    tags = open_clip.list_pretrained_tags_by_model(architecture)
    config = open_clip.pretrained.get_pretrained_cfg(architecture, rest) if rest else {}
    if config:
        path = _download(open_clip, config, architecture, rest)
        return _Weights(path, _preprocessing(config), bool(config.get("quick_gelu")))
    path = Path(rest).expanduser()
    if not rest or not path.is_file():
        raise EncoderError(
            f"{rest!r} is neither a file nor a tag of {architecture}.",
            hint=f"Its tags are: {', '.join(tags) or 'none, so a file is needed'}.",
        )
    if path.suffix.lower() not in _SUFFIXES:
        raise EncoderError(
            f"{path} is no checkpoint file.", hint=f"It must end in {', '.join(sorted(_SUFFIXES))}."
        )
    return _Weights(path, _shared_preprocessing(open_clip, architecture, tags), False)


def _download(open_clip: Any, config: dict[str, Any], architecture: str, tag: str) -> Path:
    try:
        return Path(open_clip.download_pretrained(config))
    except Exception as error:  # no network, no such host, refused, disk full...
        raise EncoderError(
            f"The checkpoint {tag} of {architecture} is not on this computer and could not be "
            f"downloaded ({' '.join(str(error).split())[:200]}).",
            hint=f"Without a network, copy it into the cache folder {_cache_folder(config)} from a "
            f"computer that has it, or name the file: open_clip:{architecture}/FILE.safetensors",
        ) from error


def _cache_folder(config: dict[str, Any]) -> str:
    if not config.get("hf_hub"):
        return os.path.expanduser("~/.cache/clip")
    try:
        from huggingface_hub.constants import HF_HUB_CACHE
    except ImportError:
        return os.path.expanduser("~/.cache/huggingface/hub")
    return str(HF_HUB_CACHE)


def _preprocessing(config: dict[str, Any]) -> dict[str, Any]:
    return {key: config[key] for key in _PREPROCESSING if config.get(key) is not None}


def _shared_preprocessing(open_clip: Any, architecture: str, tags: list[str]) -> dict[str, Any]:
    """Return how all tags of ``architecture`` prepare photos, or {} if they differ.

    A file does not say how its photos were prepared; the published checkpoints of the same
    architecture do.
    """
    get = open_clip.pretrained.get_pretrained_cfg
    found = [_preprocessing(get(architecture, tag)) for tag in tags]
    return found[0] if found and all(item == found[0] for item in found) else {}


def _square(photo: Image.Image) -> Image.Image:
    """Pad ``photo`` to a square with the median colour of its border.

    The usual preparation cuts a square out of the middle, which would take the ends off a long
    brooch.
    """
    photo = photo.convert("RGB")
    if photo.width == photo.height:
        return photo
    pixels = np.asarray(photo)
    border = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    red, green, blue = (int(value) for value in np.median(border, axis=0))
    side = max(photo.size)
    square = Image.new("RGB", (side, side), (red, green, blue))
    square.paste(photo, ((side - photo.width) // 2, (side - photo.height) // 2))
    return square


def _fingerprint(settings: list[Any], visual: torch.nn.Module) -> str:
    """Hash the settings, the recipe and every tensor (name, type, shape, bytes) of ``visual``."""
    digest = hashlib.sha256(json.dumps([_RECIPE, *settings], sort_keys=True).encode())
    for key, tensor in sorted(visual.state_dict().items()):
        values = tensor.detach().cpu().contiguous().numpy()
        digest.update(f"{key} {values.dtype} {values.shape}\n".encode())
        digest.update(values.tobytes())
    return digest.hexdigest()


def _unit(vectors: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    lengths = np.linalg.norm(vectors.astype(np.float64), axis=-1, keepdims=True)
    unit: npt.NDArray[np.float32] = (vectors / np.maximum(lengths, 1e-12)).astype(np.float32)
    return unit
