"""A running server for each test of this folder that asks for one."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.bring.server import Site, serving


@pytest.fixture
def site() -> Iterator[Site]:
    with serving() as running:
        yield running
