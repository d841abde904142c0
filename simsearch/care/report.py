"""One call that looks a set over and says what to mend, and how good the set is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simsearch.care.actions import Actions
from simsearch.care.confusions import Confusions, confusion_findings, confusions_of
from simsearch.care.duplicates import duplicate_findings
from simsearch.care.findings import KINDS, SEVERITIES, Action, Finding, Severity, in_order
from simsearch.care.gaps import (
    consent_findings,
    gap_findings,
    licence_findings,
    opinion_findings,
)
from simsearch.care.labels import label_findings
from simsearch.care.lookup import look_up_own
from simsearch.care.notes import note_findings
from simsearch.care.pictures import Pictures, read_pictures
from simsearch.care.quality import metadata_findings, no_object_findings, quality_findings
from simsearch.care.worth import Worth, worth_of
from simsearch.errors import MissingIndexError, StaleIndexError
from simsearch.index import PhotoIndex
from simsearch.sets.problems import Problem
from simsearch.sets.reference_set import ReferenceSet, read_set

__all__ = ["KINDS", "SEVERITIES", "Action", "Finding", "Report", "look_after", "look_after_folder"]

Progress = Callable[[int, int], None]
_STEPS = 1000  # what progress counts to: the first half is reading, the second is comparing


@dataclass(frozen=True, eq=False)
class Report:
    """What was found in a set, what matters most first.

    ``worth`` and ``confusions`` are ``None`` where the set has no index that fits, or photos of
    fewer than two types.
    """

    set_title: str
    photos: int
    types: int
    findings: tuple[Finding, ...]
    worth: Worth | None
    confusions: Confusions | None

    def of_kind(self, kind: str) -> tuple[Finding, ...]:
        """Return the findings of one kind, in order."""
        return tuple(one for one in self.findings if one.kind == kind)

    def counts(self) -> dict[str, int]:
        """Return how many findings there are of each severity."""
        found = Counter(one.severity for one in self.findings)
        return {severity: found[severity] for severity in SEVERITIES}

    def to_dict(self) -> dict[str, Any]:
        """Return plain lists, texts and numbers."""
        return {
            "set": self.set_title,
            "photos": self.photos,
            "types": self.types,
            "counts": self.counts(),
            "findings": [one.to_dict() for one in self.findings],
            "worth": self.worth.to_dict() if self.worth else None,
            "confusions": self.confusions.to_dict() if self.confusions else None,
        }


def look_after_folder(folder: Path, *, progress: Progress | None = None) -> Report:
    """Look a set over that may have wrong rows, which are told too; see ``look_after``.

    Raises ``SetError`` only when there is no such folder.
    """
    problems: list[Problem] = []
    reference = read_set(folder, problems)
    return look_after(reference, progress=progress, problems=problems)


def look_after(
    reference: ReferenceSet,
    *,
    progress: Progress | None = None,
    problems: Sequence[Problem] = (),
) -> Report:
    """Look over a set: every finding with the action that settles it.

    ``progress`` is called with (steps done, steps in all). ``problems`` are what reading the
    tables found. Without an index that fits, what needs one is left out, and a finding says so.
    Nothing is changed.
    """
    actions = Actions(reference.folder)
    findings = [_of_problem(problem, actions) for problem in problems]
    findings += _of_tables(reference, actions)
    pictures = read_pictures(reference, _share(progress, 0, _STEPS // 2))
    findings += quality_findings(pictures, actions)
    index = None
    if reference.photos:
        index = _index(reference, findings, actions)
    findings += duplicate_findings(
        pictures, actions, index=index, progress=_share(progress, _STEPS // 2, _STEPS)
    )
    worth, confusions = None, None
    if index is not None:
        worth, confusions = _of_index(reference, index, pictures, findings, actions)
    return Report(
        reference.title,
        len(reference.photos),
        len(reference.types),
        in_order(findings),
        worth,
        confusions,
    )


def _of_tables(reference: ReferenceSet, actions: Actions) -> list[Finding]:
    rows = reference.photos
    return [
        *consent_findings(rows, reference.private, actions),
        *licence_findings(rows, actions),
        *opinion_findings(rows, reference.opinions, actions),
        *note_findings(rows, reference.types, actions),
        *metadata_findings(rows, actions),
        *gap_findings(reference, actions),
    ]


def _of_problem(problem: Problem, actions: Actions) -> Finding:
    """A row that could not be read, licence first among the reasons."""
    kind = "licence" if "licence" in problem.where else "table"
    severity: Severity = "mend" if problem.severity == "error" else "look"
    action = actions.edit(problem.where.split(",")[0], "the row")
    return Finding(kind, severity, (), (), str(problem), action)


def _index(reference: ReferenceSet, findings: list[Finding], actions: Actions) -> PhotoIndex | None:
    try:
        return reference.index
    except (MissingIndexError, StaleIndexError) as error:
        what = f"{error.message} Labels and look-alikes were not looked at."
        findings.append(Finding("index", "mend", (), (), what, actions.index()))
        return None


def _of_index(
    reference: ReferenceSet,
    index: PhotoIndex,
    pictures: Pictures,
    findings: list[Finding],
    actions: Actions,
) -> tuple[Worth | None, Confusions | None]:
    bare = no_object_findings(pictures.rows, index, actions)
    told = {one.photos for one in findings if one.kind == "no object"}
    findings += [one for one in bare if one.photos not in told]
    found = look_up_own(reference)
    types = dict(reference.types)
    if len(found.groups.type_ids) < 2:
        return None, None
    findings += label_findings(found, types, actions)
    confusions = confusions_of(found, types)
    findings += confusion_findings(confusions, types, actions)
    return worth_of(found, types), confusions


def _share(progress: Progress | None, first: int, last: int) -> Progress | None:
    """Let a part of the work move its part of the bar."""
    if progress is None:
        return None
    told = progress

    def tell(done: int, total: int) -> None:
        told(first + (last - first) * done // max(total, 1), _STEPS)

    return tell
