"""Reading JSON that a stranger wrote: bounded in depth, plain numbers only."""

from __future__ import annotations

import json
from typing import Any

from simsearch.bring.offered import RefusedError

MAX_DEPTH = 60


def read_json(body: bytes, where: str, content_type: str = "") -> Any:
    """The document in ``body``; raises ``RefusedError`` naming ``where`` for anything else."""
    try:
        document = json.loads(body.decode("utf-8-sig"), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        # ValueError also covers broken UTF-8 and numbers of thousands of digits.
        kind = content_type.partition(";")[0].strip().lower()
        what = f"{kind[:60]} that is not JSON" if kind and "json" not in kind else "damaged JSON"
        raise RefusedError(
            f"{where} answered with {what}.", hint="Check that it is the address of the document."
        ) from error
    if _too_deep(document):
        raise RefusedError(f"{where} answered with JSON more than {MAX_DEPTH} levels deep.")
    return document


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not JSON")


def _too_deep(document: Any) -> bool:
    level = [document] if isinstance(document, dict | list) else []
    for _ in range(MAX_DEPTH):
        if not level:
            return False
        level = [
            inner
            for outer in level
            for inner in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(inner, dict | list)
        ]
    return bool(level)
