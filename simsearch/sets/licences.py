"""The open licences a reference photo may carry, by SPDX id."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

_CC = "https://creativecommons.org"


@dataclass(frozen=True)
class Licence:
    """One licence: SPDX id, the name people know, where its text is, and what it asks for."""

    id: str
    name: str
    url: str
    needs_credit: bool
    share_alike: bool


def _cc(kind: str, version: str, name: str) -> Licence:
    return Licence(
        f"CC-{kind.upper()}-{version}",
        f"Creative Commons {name} {version}",
        f"{_CC}/licenses/{kind}/{version}/",
        needs_credit=True,
        share_alike=kind == "by-sa",
    )


_ALL = (
    Licence("CC0-1.0", "Creative Commons Zero 1.0", f"{_CC}/publicdomain/zero/1.0/", False, False),
    *(_cc("by", version, "Attribution") for version in ("4.0", "3.0", "2.0")),
    *(_cc("by-sa", version, "Attribution-ShareAlike") for version in ("4.0", "3.0", "2.0")),
    Licence(
        "PDDL-1.0",
        "Open Data Commons Public Domain Dedication and Licence 1.0",
        "https://opendatacommons.org/licenses/pddl/1-0/",
        False,
        False,
    ),
    Licence("MIT", "MIT License", "https://opensource.org/license/mit", True, False),
    Licence(
        # SPDX has no id for "out of copyright"; LicenseRef- is its way to name one's own.
        "LicenseRef-PublicDomain",
        "Public domain (no copyright)",
        f"{_CC}/publicdomain/mark/1.0/",
        False,
        False,
    ),
)

LICENCES: Mapping[str, Licence] = MappingProxyType({licence.id: licence for licence in _ALL})
"""Every licence a photo in a reference set may carry, by SPDX id."""
