"""The answer to an exercise: right or wrong, and the features that decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from simsearch.practice import PracticeError
from simsearch.practice.scoring import points
from simsearch.practice.staircase import CANNOT_TELL, RIGHT, WRONG

if TYPE_CHECKING:
    from simsearch.practice.exercise import Exercise
    from simsearch.sets.types import Type


@dataclass(frozen=True)
class Apart:
    """What separates the true type from another choice; ``chosen`` when that was the guess."""

    type_id: str
    name: str
    separates: str
    other_separates: str
    chosen: bool


@dataclass(frozen=True)
class Answer:
    """The judged guess and what decides, as the table of types has it.

    ``features`` are (view, words), the view shown first; ``apart`` has the guess first.
    """

    type_id: str
    name: str
    dates: str
    chosen: str
    chosen_name: str
    outcome: str
    points: float
    features: tuple[tuple[str, str], ...]
    checks: tuple[str, ...]
    survives: str
    apart: tuple[Apart, ...]

    @property
    def verdict(self) -> str:
        """The outcome in a sentence."""
        if self.outcome == RIGHT:
            return f"Right: it was labelled {self.name}."
        if self.outcome == CANNOT_TELL:
            return f"It was labelled {self.name}. Saying that you cannot tell counts in part."
        return f"It was labelled {self.name}, not {self.chosen_name}."

    def lines(self) -> list[str]:
        """The whole answer as lines of text."""
        told = [f"{self.verdict} {self.points:g} points. {self.name}: {self.dates}."]
        told += [f"{view.capitalize()}: {words}" for view, words in self.features]
        told += [f"Survives: {self.survives}"] if self.survives else []
        told += [f"Check: {check}" for check in self.checks]
        for other in self.apart:
            told += [f"Not {other.name}: {other.separates}"] if other.separates else []
        return told


def judge(exercise: Exercise, chosen: str, types: Mapping[str, Type]) -> Answer:
    """Judge a guess: one of the exercise's type ids, or "cannot tell".

    Raises ``PracticeError`` for anything else; nothing is scored then.
    """
    if chosen != CANNOT_TELL and chosen not in exercise.choices:
        raise PracticeError(
            f"'{chosen[:60]}' is not among the choices.",
            hint=f"Choose one of: {', '.join(exercise.choices)}, or '{CANNOT_TELL}'.",
        )
    kind = types[exercise.type_id]
    outcome = WRONG
    if chosen in (CANNOT_TELL, exercise.type_id):
        outcome = CANNOT_TELL if chosen == CANNOT_TELL else RIGHT
    others = [type_id for type_id in exercise.choices if type_id != kind.id]
    others.sort(key=lambda type_id: type_id != chosen)
    apart = [_apart(kind, types[type_id], chosen) for type_id in others]
    return Answer(
        type_id=kind.id,
        name=kind.name,
        dates=kind.dates.words(),
        chosen=chosen,
        chosen_name=types[chosen].name if chosen in types else CANNOT_TELL,
        outcome=outcome,
        points=points(outcome, len(exercise.choices)),
        features=tuple(sorted(kind.features.items(), key=lambda item: item[0] != exercise.view)),
        checks=kind.checks,
        survives=kind.survives,
        apart=tuple(item for item in apart if item.separates or item.chosen),
    )


def _apart(kind: Type, other: Type, chosen: str) -> Apart:
    mine = [item.separates for item in kind.look_alikes if item.type_id == other.id]
    theirs = [item.separates for item in other.look_alikes if item.type_id == kind.id]
    return Apart(
        type_id=other.id,
        name=other.name,
        separates=mine[0] if mine else "",
        other_separates=theirs[0] if theirs else "",
        chosen=other.id == chosen,
    )
