"""Giving an opinion on what an object is. What was said before stays beside it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from simsearch.errors import SetError
from simsearch.making.tables import Cells, Tables, require_photo
from simsearch.sets.changes import changing
from simsearch.sets.opinions import OPINIONS_FILE, Opinion


def give_opinion(
    folder: Path | str,
    photo_id: str,
    type_id: str,
    by: str,
    authority: str,
    note: str = "",
    *,
    in_force: bool,
    on: str = "",
) -> tuple[str, ...]:
    """Record an opinion on a photo; ``in_force`` makes it the label that the set goes by.

    One object has one type: a label in force moves every photo of the specimen, and each gets
    the opinion. The label that was in force before is in ``opinions.csv``, or is put there now.
    ``on`` is the day (YYYY-MM-DD), today without it. Returns the ids of the photos whose label
    in force has changed. Raises ``SetError`` when something is unknown or missing.
    """
    root = Path(folder)
    day = _checked(by, authority, on)
    with changing(root) as change:
        tables = Tables(root, change)
        photos = list(tables.rows("photos.csv"))
        asked = require_photo(photos, photo_id, root)
        if type_id not in {row["id"] for row in tables.rows("types.csv")}:
            raise SetError(f"There is no type '{type_id}' in {root}.", hint="Add the type first.")
        specimen = asked["specimen"]
        meant = [row for row in photos if row["specimen"] == specimen] if in_force else [asked]
        known = {row["photo"] for row in tables.rows(OPINIONS_FILE)}
        first = [_in_force(row) for row in meant if row["id"] not in known]
        new = [
            Opinion(row["id"], specimen, type_id, by.strip(), day, authority.strip(), note.strip())
            for row in meant
        ]
        tables.append(OPINIONS_FILE, [opinion.cells() for opinion in (*first, *new)])
        if in_force:
            label = {"type": type_id, "labelled_by": by.strip(), "label_basis": authority.strip()}
            label["labelled_on"] = day
            moved = [{**row, **label} if row["specimen"] == specimen else row for row in photos]
            tables.replace("photos.csv", moved)
        tables.save()
    return tuple(row["id"] for row in meant if in_force and row["type"] != type_id)


def _in_force(row: Cells) -> Opinion:
    """Return the label of a row as the opinion it is."""
    who = row["labelled_by"], row["labelled_on"], row["label_basis"]
    return Opinion(row["id"], row["specimen"], row["type"], *who)


def _checked(by: str, authority: str, on: str) -> str:
    if not by.strip():
        raise SetError("Nobody is named as giving the opinion.", hint="Say by whom it is.")
    if not authority.strip():
        hint = "Say on what authority, such as 'seen in the hand' or 'from the photo'."
        raise SetError("The opinion names no authority.", hint=hint)
    try:
        if on and date.fromisoformat(on).isoformat() != on:
            raise ValueError
    except ValueError as error:
        hint = "Write it as YYYY-MM-DD: 2024-05-31."
        raise SetError(f"'{on}' is not a day.", hint=hint) from error
    return on or date.today().isoformat()
