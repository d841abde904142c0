"""Conflicts between two sets, and what somebody chose to do about each."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass

from simsearch.share.problems import ShareError, shown

OURS, THEIRS, BOTH, OTHER, SAME = "ours", "theirs", "both", "other", "same"
MEANINGS: Mapping[str, Mapping[str, str]] = {
    "source": {OURS: "keep our words", THEIRS: "take their words"},
    "type": {OURS: "keep our dates and words", THEIRS: "take their dates and words"},
    "photo": {
        BOTH: "bring theirs in under a new id",
        OURS: "leave theirs out",
        THEIRS: "put theirs in the place of ours, which goes",
    },
    "specimen": {
        OTHER: "two objects; theirs gets a new name",
        SAME: "one object seen by both",
    },
    "label": {
        OURS: "our label stays in force, theirs is kept as an opinion",
        THEIRS: "their label comes into force, ours is kept as an opinion",
    },
    "licence": {OURS: "keep ours", THEIRS: "take theirs", BOTH: "name both licences"},
    "details": {OURS: "keep our row", THEIRS: "take their view, state, source and note"},
    "private": {OURS: "keep our row", THEIRS: "take their row"},
}


@dataclass(frozen=True)
class Conflict:
    """One thing on which two sets disagree, and the ways it may be settled."""

    kind: str
    key: str
    what: str
    options: tuple[str, ...]

    @property
    def name(self) -> str:
        """What a choice names it by: "type:knee"."""
        return f"{self.kind}:{self.key}"

    def __str__(self) -> str:
        ways = "; ".join(f"{option} = {MEANINGS[self.kind][option]}" for option in self.options)
        return f"{self.name}: {self.what} [{ways}]"


class Chooser:
    """Hands out choices and remembers what there was to choose.

    ``choices`` goes by conflict (``type:knee``) or by kind (``type``) for all of that kind; the
    conflict's own goes first. What nobody chose is taken as its first option, which takes
    nothing of ours away, and is remembered in ``open``.
    """

    def __init__(self, choices: Mapping[str, str]) -> None:
        self._choices = dict(choices)
        self._used: set[str] = set()
        self.conflicts: list[Conflict] = []
        self.open: list[Conflict] = []
        self.wrong: list[str] = []

    def choose(self, kind: str, key: str, what: str, options: Sequence[str]) -> str:
        """Return what was chosen for a conflict."""
        conflict = Conflict(kind, key, what, tuple(options))
        self.conflicts.append(conflict)
        for name in (conflict.name, kind):
            if name not in self._choices:
                continue
            self._used.add(name)
            chosen = self._choices[name]
            if chosen in options:
                return chosen
            ways = " or ".join(options)
            self.wrong.append(f"{conflict.name}: '{shown(chosen)}' is no way to settle it: {ways}")
            return options[0]
        self.open.append(conflict)
        return options[0]

    def require_fitting(self, also_known: Container[str] = ()) -> None:
        """Raise ``ShareError`` when a choice is wrong or about nothing.

        ``also_known`` names conflicts that there would be without the other choices.
        """
        unused = [name for name in self._choices if name not in self._used | set(MEANINGS)]
        reasons = [f"'{shown(name)}' is no conflict between these sets" for name in unused
                   if name not in also_known]  # fmt: skip
        if self.wrong or reasons:
            raise ShareError("The choices do not fit.", [*self.wrong, *reasons])

    def require_all(self) -> None:
        """Raise ``ShareError`` when a conflict has no choice."""
        if self.open:
            raise ShareError(
                "The sets are not merged: they disagree.",
                [str(conflict) for conflict in self.open],
                hint="Choose for each, as in type:knee=ours, or for all of a kind: type=ours.",
            )
