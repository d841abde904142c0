"""Forms of the named types, one function each, drawn with the tolerances of real series.

    form = typed_form("colchester", np.random.default_rng(3))

Every call draws another specimen of the type: sizes, proportions and ornament vary within it.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable

import numpy as np

from simsearch.synthetic.form import Form

Maker = Callable[[np.random.Generator], Form]

_MAKERS: dict[str, Maker] = {}
_MODULES = ("bow", "bow_roman", "bow_military", "plate", "long", "rings", "small")


def makes(type_id: str) -> Callable[[Maker], Maker]:
    """Register a function as the maker of a type's forms."""

    def keep(maker: Maker) -> Maker:
        _MAKERS[type_id] = maker
        return maker

    return keep


def vary(rng: np.random.Generator, value: float, spread: float = 0.07) -> float:
    """``value`` give or take a share of itself (normal, cut at two spreads)."""
    return float(value * (1 + spread * np.clip(rng.standard_normal(), -2, 2)))


def typed_ids() -> list[str]:
    """Ids of the types that have a form, sorted."""
    _load()
    return sorted(_MAKERS)


def typed_form(type_id: str, rng: np.random.Generator) -> Form:
    """One specimen of a type. Raises KeyError for a type without a form."""
    _load()
    form = _MAKERS[type_id](rng)
    form.name = type_id
    return form


def _load() -> None:
    for name in _MODULES:
        importlib.import_module(f"{__name__}.{name}")
