"""Encoders by name."""

from __future__ import annotations

from simsearch.encode.protocol import Encoder
from simsearch.errors import EncoderError

BUILT_IN = "built-in"
_OPEN_CLIP = "open_clip:"
_KNOWN = f"Known are: {BUILT_IN}; {_OPEN_CLIP}ARCHITECTURE/TAG; {_OPEN_CLIP}ARCHITECTURE/FILE."


def load_encoder(name: str = BUILT_IN) -> Encoder:
    """Return the encoder called ``name``.

    ``built-in`` ships with the package and needs no network. ``open_clip:ARCHITECTURE/TAG``
    (``open_clip:ViT-B-32/laion2b_s34b_b79k``) is a public checkpoint, downloaded on first use;
    ``open_clip:ARCHITECTURE/FILE`` is a checkpoint file on this computer (.safetensors, or a
    PyTorch file, which is read without running any code in it).

    Raises EncoderError for an unknown name or a checkpoint that cannot be had or read.
    """
    if name == BUILT_IN:
        from simsearch.encode import builtin

        return builtin.load()
    if name.startswith(_OPEN_CLIP):
        from simsearch.encode import checkpoints

        return checkpoints.load(name, name.removeprefix(_OPEN_CLIP))
    raise EncoderError(f"There is no encoder called {name!r}.", hint=_KNOWN)
