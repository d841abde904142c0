"""Forms of the named types: plate."""

from __future__ import annotations
