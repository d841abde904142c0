"""Players' scores on this machine: one JSON file, replaced in one step, a player deletable.

Only what a player answered is kept, under the name they gave; nothing leaves the machine.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simsearch.files import write_text
from simsearch.practice import PracticeError
from simsearch.practice.staircase import CANNOT_TELL, LEVELS, OUTCOMES, RIGHT, WRONG, Staircase

if TYPE_CHECKING:
    from simsearch.practice.answer import Answer
    from simsearch.practice.exercise import Exercise

FILE = "scores.json"
_FORMAT = 1
_MOST_ANSWERS = 5_000  # of each player; the oldest go first
_LONGEST_NAME = 60
_WAIT_SECONDS = 10.0
_RECENT = 40


@dataclass(frozen=True)
class Answered:
    """One answer: when (ISO 8601, UTC), in which set, on which piece, what was said, its worth."""

    on: str
    set_name: str
    piece: str
    type_id: str
    chosen: str
    outcome: str
    points: float
    level: int


@dataclass(frozen=True)
class Player:
    """Where a player stands and what they answered, oldest first."""

    name: str
    staircase: Staircase = field(default_factory=Staircase)
    answers: tuple[Answered, ...] = ()

    def count(self, outcome: str) -> int:
        """How many answers had this outcome."""
        return sum(item.outcome == outcome for item in self.answers)

    @property
    def points(self) -> float:
        """All points together."""
        return round(sum(item.points for item in self.answers), 2)

    def seen(self, set_name: str) -> frozenset[str]:
        """The pieces of a set that were shown lately."""
        return frozenset(i.piece for i in self.answers[-_RECENT:] if i.set_name == set_name)

    def taken_for_another(self) -> list[tuple[str, str, int]]:
        """(true type, guess, how often), most often first: what to look at together."""
        pairs = Counter((i.type_id, i.chosen) for i in self.answers if i.outcome == WRONG)
        return [(true, guess, number) for (true, guess), number in pairs.most_common()]


def default_folder() -> Path:
    """Where scores are kept when no folder is named."""
    from platformdirs import user_data_path

    return user_data_path("simsearch", appauthor=False) / "practice"


class Scores:
    """The scores kept in one folder."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder if folder is not None else default_folder()

    @property
    def path(self) -> Path:
        """The file of scores."""
        return self.folder / FILE

    def players(self) -> tuple[Player, ...]:
        """Everybody, by name. Raises ``PracticeError`` when the file cannot be used."""
        found = self._read().values()
        return tuple(sorted(found, key=lambda player: player.name.casefold()))

    def player(self, name: str) -> Player:
        """A player; one who has not played yet stands at the start, and nothing is written."""
        known = checked_name(name)
        return self._read().get(known, Player(known))

    def record(self, name: str, exercise: Exercise, answer: Answer, set_name: str) -> Player:
        """Keep an answer and move the player's level; return where the player stands then."""
        known = checked_name(name)
        answered = Answered(
            on=datetime.now(UTC).isoformat(timespec="seconds"),
            set_name=set_name,
            piece=exercise.piece_id,
            type_id=answer.type_id,
            chosen=answer.chosen,
            outcome=answer.outcome,
            points=answer.points,
            level=exercise.level,
        )
        with self._changing() as players:
            player = players.get(known, Player(known))
            players[known] = replace(
                player,
                staircase=player.staircase.after(answer.outcome),
                answers=(*player.answers, answered)[-_MOST_ANSWERS:],
            )
            return players[known]

    def delete(self, name: str) -> int:
        """Delete a player and all their answers; return how many answers went.

        Raises ``PracticeError`` when there is no such player.
        """
        known = checked_name(name)
        if known not in self._read():
            raise PracticeError(
                f"There are no scores of '{known}'.",
                hint="See who has: simsearch practice --scores",
            )
        with self._changing() as players:
            gone = players.pop(known, Player(known))
        return len(gone.answers)

    @contextmanager
    def _changing(self) -> Iterator[dict[str, Player]]:
        """Read, let the block change, and replace the file; one program at a time."""
        from filelock import FileLock, Timeout

        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with FileLock(self.folder / ".scores.lock", timeout=_WAIT_SECONDS):
                players = self._read()
                yield players
                write_text(self.path, _text(players))
        except Timeout as error:
            raise PracticeError(
                f"Another program is writing {self.path}.", hint="Try again in a moment."
            ) from error
        except OSError as error:
            raise PracticeError(
                f"Scores cannot be kept in {self.folder} ({error.strerror}).",
                hint="Check its permissions; the answer was not kept.",
            ) from error

    def _read(self) -> dict[str, Player]:
        hint = "Nothing was changed. Restore the file, or move it away to start afresh."
        try:
            document = json.loads(self.path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return {}
        except OSError as error:
            raise PracticeError(
                f"{self.path} cannot be read ({error.strerror}).", hint=hint
            ) from error
        except ValueError as error:
            raise PracticeError(f"{self.path} is not JSON ({error}).", hint=hint) from error
        try:
            return _players(document)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise PracticeError(
                f"{self.path} does not hold scores as they are written here ({error!r:.80}).",
                hint=hint,
            ) from error


def checked_name(name: str) -> str:
    """A player's name without blanks round it.

    Raises ``PracticeError`` for an empty or overlong one, or one with control characters.
    """
    plain = " ".join(name.split())
    if not plain or len(plain) > _LONGEST_NAME or not plain.isprintable():
        raise PracticeError(
            f"The player's name has to be text of 1 to {_LONGEST_NAME} characters.",
            hint="A first name or a nickname will do.",
        )
    return plain


def _text(players: dict[str, Player]) -> str:
    held = {
        name: {
            "level": player.staircase.level,
            "run": player.staircase.run,
            "answers": [asdict(item) for item in player.answers],
        }
        for name, player in players.items()
    }
    return json.dumps({"format": _FORMAT, "players": held}, ensure_ascii=False, indent=1) + "\n"


def _players(document: Any) -> dict[str, Player]:
    if document["format"] != _FORMAT:
        raise ValueError(f"format {document['format']}")
    return {name: _player(name, held) for name, held in document["players"].items()}


def _player(name: str, held: dict[str, Any]) -> Player:
    stairs = Staircase(int(held["level"]), int(held["run"]))
    answers = tuple(Answered(**item) for item in held["answers"])
    if not 1 <= stairs.level <= LEVELS or any(item.outcome not in OUTCOMES for item in answers):
        raise ValueError("a level or an outcome that is not there")
    return Player(name, stairs, answers)


def summary(player: Player) -> str:
    """A player's scores in a sentence."""
    total = len(player.answers)
    return (
        f"{player.name}: {player.points:g} points of {total}; {player.count(RIGHT)} right, "
        f"{player.count(WRONG)} wrong, {player.count(CANNOT_TELL)} cannot tell; "
        f"level {player.staircase.level} of {LEVELS}."
    )
