"""Encoders: from photos to vectors. Nothing heavy is imported before an encoder is loaded."""

from __future__ import annotations

from simsearch.encode.protocol import Encoder
from simsearch.encode.registry import BUILT_IN, load_encoder

__all__ = ["BUILT_IN", "Encoder", "load_encoder"]
