"""What can be found when a set is looked over, and what settles it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

Severity = Literal["mend", "look", "note"]
"""``mend``: something is wrong. ``look``: something may be. ``note``: the set could be better."""
SEVERITIES: tuple[Severity, ...] = ("mend", "look", "note")

KINDS = (
    "table", "unreadable", "consent", "licence", "index", "copy", "opinions", "label", "date",
    "material", "metadata", "no object", "blur", "dark", "light", "small", "lettering",
    "thin type", "no complete", "view missing", "confused", "no photo",
)  # fmt: skip
"""Every kind of finding, in the order in which they are told within one severity."""


@dataclass(frozen=True)
class Action:
    """What settles a finding: ``kind`` for programs, ``words`` for a button, and a command.

    ``command`` may hold places in capitals that the user fills in; it is empty where only an
    editor of tables or a camera helps.
    """

    kind: str
    words: str
    command: str = ""


@dataclass(frozen=True)
class Finding:
    """One thing to mend or to look at.

    ``photos`` and ``types`` are ids, the one to act on first; ``what`` is a sentence or two.
    ``weight``, 0 to 1, orders findings of one kind.
    """

    kind: str
    severity: Severity
    photos: tuple[str, ...]
    types: tuple[str, ...]
    what: str
    action: Action
    weight: float = 0.0

    def to_dict(self) -> dict[str, Any]:
        """Return the finding as plain lists, texts and numbers."""
        document = asdict(self)
        return document | {"photos": list(self.photos), "types": list(self.types)}


def in_order(findings: list[Finding]) -> tuple[Finding, ...]:
    """Sort findings by what matters: severity, then kind, then weight."""
    return tuple(
        sorted(
            findings,
            key=lambda one: (
                SEVERITIES.index(one.severity),
                KINDS.index(one.kind),
                -one.weight,
                one.types,
                one.photos,
            ),
        )
    )
