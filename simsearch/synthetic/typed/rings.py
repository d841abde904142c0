"""Forms of the named types: rings."""

from __future__ import annotations
