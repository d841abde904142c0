"""Forms of the named types: long."""

from __future__ import annotations
