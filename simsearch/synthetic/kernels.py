"""The few functions that take most of a render's time, fused by the compiler where that pays.

Evaluating every primitive at every point one operation at a time moves gigabytes; compiled into
one pass it is arithmetic only. The eager form is the default: compiling takes longer than a
handful of pictures. Scripts that render hundreds ask for it with ``compile_kernels``.
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

    Its last argument holds points ``[B, N, ...]``. On a GPU only their number N is compiled as
    variable, on a CPU every size is, so that batches can be trimmed to what they use.
    """
    if not _enabled:
        return function

    def of_any_size(*arguments: Any) -> Any:
        on_cpu = arguments[-1].device.type == "cpu"
        name = f"{function.__qualname__} {on_cpu}"
        if name not in _compiled:
            _compiled[name] = torch.compile(function, dynamic=True if on_cpu else None)
        if not on_cpu:
            torch._dynamo.maybe_mark_dynamic(arguments[-1], 1)
        return _compiled[name](*arguments)

    return of_any_size
