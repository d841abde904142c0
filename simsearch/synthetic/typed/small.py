"""Forms of the named types: small."""

from __future__ import annotations
