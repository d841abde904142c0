"""One practice exercise as HTML: the question, then the answer with what decides.

The question's HTML holds nothing that tells the answer: neither the piece's id nor the type.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from simsearch.page.pieces import LARGE_SIDE, THUMB_SIDE, fill, shot, varied
from simsearch.page.thumbs import encode_picture
from simsearch.practice.scores import summary
from simsearch.practice.scoring import cannot_tell_credit
from simsearch.practice.staircase import CANNOT_TELL, LEVELS

if TYPE_CHECKING:
    from simsearch.practice.answer import Answer, Apart
    from simsearch.practice.exercise import Exercise
    from simsearch.practice.scores import Player
    from simsearch.sets.reference_set import ReferenceSet

_PHOTOS = 3


def render_exercise(
    exercise: Exercise, reference: ReferenceSet, *, player: Player | None = None, note: str = ""
) -> str:
    """The picture and the choices. ``note`` is the pool's; ``player``'s scores stand below."""
    return _render(exercise, reference, player, note, None)


def render_answer(
    exercise: Exercise, answer: Answer, reference: ReferenceSet, *, player: Player | None = None
) -> str:
    """The same with the answer: what decides, and photos of the true type and of the guess."""
    return _render(exercise, reference, player, "", _answer(answer, reference))


def _render(
    exercise: Exercise,
    reference: ReferenceSet,
    player: Player | None,
    note: str,
    answer: dict[str, Any] | None,
) -> str:
    picture = encode_picture(exercise.picture, LARGE_SIDE)
    what = "Rendered fragment" if exercise.rendered else "Fragment"
    return fill(
        "practice.html",
        picture=picture,
        alt=f"{what} to name: {exercise.view}, {exercise.condition}",
        rendered=exercise.rendered,
        made=exercise.made,
        credit=exercise.credit,
        what=f"{exercise.view}, {exercise.condition}",
        level=f"Level {exercise.level} of {LEVELS}",
        question=exercise.question,
        rule=exercise.rule,
        choices=[{"id": t, "name": reference.types[t].name} for t in exercise.choices],
        cannot_tell=CANNOT_TELL,
        part=f"{cannot_tell_credit(len(exercise.choices)):g}",
        note=note,
        standing=summary(player) if player is not None else "",
        answer=answer,
    )


def _answer(answer: Answer, reference: ReferenceSet) -> dict[str, Any]:
    return {
        "verdict": answer.verdict,
        "points": f"{answer.points:g}",
        "name": answer.name,
        "type_id": answer.type_id,
        "dates": answer.dates,
        "features": answer.features,
        "survives": answer.survives,
        "checks": answer.checks,
        "photos": _photos(answer.type_id, reference),
        "apart": [_apart(item, reference) for item in answer.apart],
    }


def _apart(item: Apart, reference: ReferenceSet) -> dict[str, Any]:
    return {
        "type_id": item.type_id,
        "name": item.name,
        "separates": item.separates,
        "other_separates": item.other_separates,
        "chosen": item.chosen,
        "photos": _photos(item.type_id, reference)[:1] if item.chosen else [],
    }


def _photos(type_id: str, reference: ReferenceSet) -> list[dict[str, Any]]:
    name = reference.types[type_id].name
    return [
        shot(photo, reference.path_of(photo), name, THUMB_SIDE)
        for photo in varied(reference.photos_of(type_id))[:_PHOTOS]
    ]
