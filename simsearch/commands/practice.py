"""The command ``practice``: a club evening's exercise in the terminal."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simsearch.commands.common import SetOption, Usage, open_set_folder, say

if TYPE_CHECKING:
    from simsearch.practice.exercise import Exercise
    from simsearch.practice.pool import Pool
    from simsearch.practice.scores import Player, Scores
    from simsearch.sets.reference_set import ReferenceSet

_STOP, _CANNOT_TELL = "q", "0"


def practice(
    set_folder: SetOption = None,
    player: Annotated[
        str | None, typer.Option("--player", metavar="NAME", help="Whose level and scores.")
    ] = None,
    questions: Annotated[int, typer.Option("--questions", min=1, help="How many to ask.")] = 10,
    fresh: Annotated[
        Path | None,
        typer.Option("--fresh", metavar="DIR", help="Freshly damaged renders to ask about too."),
    ] = None,
    seed: Annotated[
        int | None, typer.Option("--seed", min=0, help="The same seed asks a new player the same.")
    ] = None,
    open_picture: Annotated[
        bool, typer.Option("--open", help="Open each picture with the system's viewer.")
    ] = False,
    scores: Annotated[bool, typer.Option("--scores", help="Show everybody's scores.")] = False,
    delete: Annotated[
        str | None, typer.Option("--delete", metavar="NAME", help="Delete a player's scores.")
    ] = None,
    keep_in: Annotated[
        Path | None, typer.Option("--scores-in", metavar="DIR", help="Where scores are kept.")
    ] = None,
) -> None:
    """Practise: shown a fragment, name its type or say "cannot tell"; then what decides.

    It gets harder as you improve. Scores stay on this machine.
    """
    from simsearch.practice.scores import Scores, summary

    kept = Scores(keep_in)
    if delete is not None:
        say(f"Deleted: {delete}, {kept.delete(delete)} answers.")
        return
    if scores:
        for one in kept.players():
            say(summary(one))
        if not kept.players():
            say("Nobody has practised here yet.")
        return
    if player is None:
        raise Usage("no player was named.", hint="Give --player NAME; a nickname will do.")
    _play(open_set_folder(set_folder), kept, kept.player(player), questions, fresh, seed,
          open_picture)  # fmt: skip


def _play(
    reference: ReferenceSet,
    kept: Scores,
    player: Player,
    questions: int,
    fresh: Path | None,
    seed: int | None,
    open_picture: bool,
) -> None:
    import secrets

    from simsearch.practice.pool import make_pool
    from simsearch.practice.scores import summary

    first = secrets.randbelow(2**31) if seed is None else seed
    pool = make_pool(reference, fresh=fresh, seed=first)
    if pool.note:
        say(pool.note)
    # The pictures lie under names that say nothing, and go when the evening is over.
    with tempfile.TemporaryDirectory(prefix="practice-") as folder:
        for number in range(1, questions + 1):
            picture = Path(folder) / f"exercise-{number}.png"
            after = _one(pool, kept, player, first + number, picture, open_picture)
            if after is None:
                break
            player = after
    say(summary(player))


def _one(
    pool: Pool, kept: Scores, player: Player, seed: int, picture: Path, open_picture: bool
) -> Player | None:
    """Ask, judge, tell and keep one question; ``None`` when the player stops."""
    from simsearch.practice.answer import judge
    from simsearch.practice.exercise import ask

    name = pool.reference.name
    exercise = ask(pool, player.staircase.level, seed=seed, seen=player.seen(name))
    exercise.picture.save(picture)
    say("")
    say(f"Level {exercise.level}. {exercise.question}")
    say(f"Picture: {picture}")
    say(f"{exercise.made}; {exercise.view}, {exercise.condition}. {exercise.credit}.")
    if open_picture:
        typer.launch(str(picture))
    chosen = _guess(exercise, pool.reference)
    if chosen is None:
        return None
    answer = judge(exercise, chosen, pool.reference.types)
    for line in answer.lines():
        say(line)
    return kept.record(player.name, exercise, answer, name)


def _guess(exercise: Exercise, reference: ReferenceSet) -> str | None:
    """The type id or "cannot tell" that the player chose; ``None`` to stop."""
    from simsearch.practice.staircase import CANNOT_TELL

    for number, type_id in enumerate(exercise.choices, start=1):
        say(f"  {number}  {reference.types[type_id].name}")
    say(f"  {_CANNOT_TELL}  {CANNOT_TELL}")
    say(exercise.rule)
    while True:
        try:
            typed = typer.prompt(f"Your answer ({_STOP} to stop)", default=_STOP).strip()
        except typer.Abort:  # Ctrl+C, or nobody is typing
            return None
        if typed.casefold() == _STOP:
            return None
        if typed == _CANNOT_TELL:
            return CANNOT_TELL
        if typed.isdecimal() and 1 <= int(typed) <= len(exercise.choices):
            return exercise.choices[int(typed) - 1]
        say(f"Type a number from 0 to {len(exercise.choices)}, or {_STOP}.")
