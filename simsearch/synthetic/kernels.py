"""The few functions that take most of a render's time, fused by the compiler where that pays.

Evaluating every primitive at every point one operation at a time moves gigabytes; compiled into
one pass it is arithmetic only. On a CPU the eager form is used: compiling takes longer than the
handful of pictures one usually wants.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import torch
import torch._dynamo

_compiled: dict[str, Callable[..., Any]] = {}
_enabled = False


def compile_kernels(enabled: bool = True) -> None:
    """Compile kernels from now on (for long runs on a GPU)."""
    global _enabled
    _enabled = enabled


def kernel(function: Callable[..., Any]) -> Callable[..., Any]:
    """``function``, compiled if kernels are being compiled.

    Its last argument holds points ``[B, N, ...]``; only their number N is compiled as variable.
    """
    if not _enabled:
        return function
    name = function.__qualname__
    if name not in _compiled:
        _compiled[name] = torch.compile(function)

    def with_any_number_of_points(*arguments: Any) -> Any:
        torch._dynamo.maybe_mark_dynamic(arguments[-1], 1)
        return _compiled[name](*arguments)

    return with_any_number_of_points
