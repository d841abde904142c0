"""Ranked leads, with date ranges and evidence, for photos of small corroded finds.

>>> import simsearch
>>> reference = simsearch.open_set()          # doctest: +SKIP
>>> leads = reference.look("find.jpg")        # doctest: +SKIP

Every answer is a lead to verify, never an identification.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from simsearch.sets.reference_set import ReferenceSet, open_set

__version__ = "0.1.0"
__all__ = ["ReferenceSet", "__version__", "open_set"]

_LAZY = {"ReferenceSet": "simsearch.sets.reference_set", "open_set": "simsearch.sets.reference_set"}


def __getattr__(name: str) -> Any:
    """Load the public names on first use (PEP 562), so that ``import simsearch`` is quick."""
    if name not in _LAZY:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_LAZY[name]), name)


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(__all__))
