"""One question: a fragment at a level, and the types to choose from. The same seed asks the same.

Levels follow what the pool can show: level 1 is the easiest ninth of all its pieces, each broken
in every way it can be, level 9 the hardest.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simsearch.errors import PhotoError
from simsearch.photo import open_photo
from simsearch.practice import PracticeError
from simsearch.practice.cut import break_off, find_object
from simsearch.practice.pool import Piece, Pool, difficulty
from simsearch.practice.scoring import rule_words
from simsearch.practice.staircase import LEVELS

if TYPE_CHECKING:
    from PIL import Image

    from simsearch.sets.reference_set import ReferenceSet

SIDE = 512
CHOICES = 5
_NEARBY, _TRIES = 12, 12


@dataclass(frozen=True, eq=False)
class Exercise:
    """A question. ``choices`` are type ids by name, the true ``type_id`` among them.

    ``made`` says where the picture comes from and belongs beside it, with ``credit``; ``kept``
    is the share of the object shown, ``difficulty`` is 0..1.
    """

    piece_id: str
    type_id: str
    choices: tuple[str, ...]
    picture: Image.Image
    made: str
    credit: str
    view: str
    condition: str
    kept: float
    difficulty: float
    level: int
    rendered: bool

    @property
    def question(self) -> str:
        """What is asked."""
        return "Which type is it? Name one, or say 'cannot tell'."

    @property
    def rule(self) -> str:
        """How the answer is scored."""
        return rule_words(len(self.choices))


def ask(pool: Pool, level: int, *, seed: int, seen: Collection[str] = ()) -> Exercise:
    """Ask at a level (1..LEVELS); pieces in ``seen`` are passed over while there are others.

    Raises ``PracticeError`` when none of the pieces at hand can be read, ``ValueError`` for a
    level that is not there.
    """
    if not 1 <= level <= LEVELS:
        raise ValueError(f"level {level} is not in 1..{LEVELS}")
    rng = np.random.default_rng([abs(seed), level])
    unread: str = ""
    whole: Exercise | None = None
    for piece, kept in _tries(pool, level, rng, set(seen)):
        try:
            photo = open_photo(piece.path, max_side=SIDE)
        except (PhotoError, OSError) as error:
            unread = str(error)
            continue
        if kept == piece.kept:
            return _exercise(pool, piece, photo, kept, _how(piece), level, rng)
        mask = find_object(photo)
        if mask is not None:
            cut = break_off(photo, mask, kept, rng, jagged=bool(rng.integers(2)))
            how = f"{_how(piece)}, cut for practice"
            return _exercise(pool, piece, cut.picture, cut.kept, how, level, rng)
        how = f"{_how(piece)}, shown whole"
        whole = whole or _exercise(pool, piece, photo, piece.kept, how, level, rng)
    if whole is not None:
        return whole
    raise PracticeError(
        f"None of the photos tried can be read ({unread}).", hint="Run: simsearch check SET"
    )


def _tries(
    pool: Pool, level: int, rng: np.random.Generator, seen: set[str]
) -> Iterator[tuple[Piece, float]]:
    """Pieces and the share to show, those about as hard as the level wants, in random order."""
    ways = [(piece, kept) for piece in pool.pieces for kept in (piece.cuts or (piece.kept,))]
    hard = np.array([difficulty(kept, p.condition, p.near.hardness) for p, kept in ways])
    wanted = float(np.quantile(hard, (level - 0.5) / LEVELS))
    new = np.array([piece.id not in seen for piece, _ in ways])
    order = np.lexsort((np.abs(hard - wanted), ~new))
    # While anything is new, only new pieces are drawn from.
    first = min(_NEARBY, int(new.sum()) or len(ways))
    near = rng.permutation(order[:first])
    for place in [*near, *order[first : first + _TRIES]]:
        yield ways[int(place)]


def _how(piece: Piece) -> str:
    if piece.fresh:
        return "freshly damaged, rendered"
    what = "rendered picture" if piece.rendered else "photo"
    return f"{what} of the set" + ("" if piece.cuts else ", a fragment")


def _exercise(
    pool: Pool,
    piece: Piece,
    picture: Image.Image,
    kept: float,
    made: str,
    level: int,
    rng: np.random.Generator,
) -> Exercise:
    return Exercise(
        piece_id=piece.id,
        type_id=piece.type_id,
        choices=_choices(pool.reference, piece, rng),
        picture=picture,
        made=made,
        credit=", ".join(part for part in (piece.creator, piece.licence) if part),
        view=piece.view,
        condition=piece.condition,
        kept=kept,
        difficulty=difficulty(kept, piece.condition, piece.near.hardness),
        level=level,
        rendered=piece.rendered,
    )


def _choices(reference: ReferenceSet, piece: Piece, rng: np.random.Generator) -> tuple[str, ...]:
    """The true type, its look-alikes and the encoder's nearest, by name so that order says nothing.

    Where these are too few, types of the same group and then others fill up.
    """
    types = reference.types
    kind = types[piece.type_id]
    alike = [other.type_id for other in kind.look_alikes if other.type_id in types]
    offered = [kind.id, *_in_turn(alike, piece.near.confusions)]
    rest = [type_id for type_id in types if type_id not in offered]
    shuffled = [rest[int(place)] for place in rng.permutation(len(rest))]
    offered += sorted(shuffled, key=lambda type_id: types[type_id].group != kind.group)
    chosen = list(dict.fromkeys(offered))[:CHOICES]
    return tuple(sorted(chosen, key=lambda type_id: types[type_id].name.casefold()))


def _in_turn(one: Sequence[str], other: Sequence[str]) -> list[str]:
    longest = max(len(one), len(other))
    return [item for i in range(longest) for item in (*one[i : i + 1], *other[i : i + 1])]
