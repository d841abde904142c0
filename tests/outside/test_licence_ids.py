"""Licence ids against the SPDX list that the packaging library carries."""

from __future__ import annotations

import pytest

from simsearch.sets.licences import LICENCES

licenses = pytest.importorskip("packaging.licenses")


@pytest.mark.parametrize("spdx", LICENCES)
def test_each_id_is_an_spdx_id_as_spdx_writes_it(spdx: str) -> None:
    assert licenses.canonicalize_license_expression(spdx) == spdx


def test_no_licence_forbids_selling_or_changing() -> None:
    # Creative Commons marks these conditions NC and ND; a set must stay usable by all.
    assert not [spdx for spdx in LICENCES if {"NC", "ND"} & set(spdx.split("-"))]


@pytest.mark.parametrize("spdx", [name for name in LICENCES if name.startswith("CC-")])
def test_the_address_is_that_of_the_same_licence(spdx: str) -> None:
    # Creative Commons addresses: /licenses/<conditions>/<version>/
    _, *conditions, version = spdx.lower().split("-")
    expected = f"https://creativecommons.org/licenses/{'-'.join(conditions)}/{version}/"
    assert LICENCES[spdx].url == expected
    assert LICENCES[spdx].needs_credit
    assert LICENCES[spdx].share_alike == ("sa" in conditions)
