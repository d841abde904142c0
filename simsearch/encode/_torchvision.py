"""Importing torchvision beside any build of torch.

open_clip imports torchvision for its image transforms. torchvision's Linux wheel on the public
registry is built for CUDA; beside a CPU-only torch its compiled part does not load, and its
import then stops at "operator torchvision::nms does not exist", although nothing here ever
calls that operator. Declaring the missing operators (without giving them a body) lets the rest
of the import run. This is done only when that error occurs, and only when an open_clip encoder
was asked for.
"""

from __future__ import annotations

import sys
import threading
from types import ModuleType
from typing import Any

from simsearch.errors import EncoderError

_MISSING = "torchvision::"
_OPERATORS = (
    "nms(Tensor dets, Tensor scores, float iou_threshold) -> Tensor",
    "qnms(Tensor dets, Tensor scores, float iou_threshold) -> Tensor",
)
_lock = threading.Lock()
_declared: list[Any] = []  # torch forgets a declaration when its Library object goes away


def import_torchvision() -> ModuleType:
    """Return the torchvision module. Raises EncoderError if it is missing or does not import."""
    with _lock:
        try:
            return _import()
        except RuntimeError as error:
            if _MISSING not in str(error) or _declared:
                raise _unusable(error) from error
        _declare_operators()
        try:
            return _import()
        except RuntimeError as error:
            raise _unusable(error) from error


def _import() -> ModuleType:
    try:
        import torchvision
    except ImportError as error:
        raise EncoderError(
            "This encoder needs torchvision, which is not installed.",
            hint="Run: pip install torch==2.13.0 torchvision==0.28.0 open_clip_torch",
        ) from error
    module: ModuleType = torchvision
    return module


def _declare_operators() -> None:
    import torch

    for name in [n for n in sys.modules if n.split(".")[0] == "torchvision"]:
        del sys.modules[name]  # left half-built by the import that failed
    library = torch.library.Library("torchvision", "DEF")
    for operator in _OPERATORS:
        library.define(operator)
    _declared.append(library)


def _unusable(error: Exception) -> EncoderError:
    return EncoderError(
        f"torchvision does not work with the installed torch ({error}).",
        hint="Install the pair that belongs together: torch==2.13.0 and torchvision==0.28.0.",
    )
