"""The actions that settle findings: words for a button, and the command that does the same.

They stand in one place so that a command that changes its name is changed here once.
"""

from __future__ import annotations

import shlex
from pathlib import Path

from simsearch.care.findings import Action
from simsearch.index import index_command


class Actions:
    """Makes the actions for one set, whose folder goes into the commands."""

    def __init__(self, folder: Path | str) -> None:
        self._folder = str(folder)

    def _command(self, name: str, *rest: str) -> str:
        return " ".join(["simsearch", name, shlex.quote(self._folder), *rest])

    def withdraw(self, photo_id: str) -> Action:
        """Take a photo out of the set, its index and its exports."""
        return Action("withdraw", f"Withdraw {photo_id}", self._command("withdraw", photo_id))

    def label(self, photo_id: str, type_id: str = "TYPE") -> Action:
        """Give an opinion on what a photo's object is."""
        rest = (photo_id, type_id, "--by", "NAME", "--authority", "WHY", "--in-force")
        return Action("label", f"Look at {photo_id} and label it", self._command("opinion", *rest))

    def add_photos(self, type_id: str, what: str = "photos") -> Action:
        """Bring in photos of a type."""
        return Action("add", f"Add {what} of {type_id}", self._command("add", "FOLDER"))

    def replace(self, photo_id: str) -> Action:
        """Take a photo out and bring a better one in."""
        words = f"Withdraw {photo_id} and add a better photo of the object"
        return Action("replace", words, self._command("withdraw", photo_id))

    def edit(self, table: str, row: str) -> Action:
        """Correct a row of a table."""
        return Action("edit", f"Correct {row} in {table}", self._command("check"))

    def edit_type(self, type_id: str, column: str) -> Action:
        """Correct a type's row."""
        return Action("edit type", f"Correct {column} of {type_id} in types.csv")

    def index(self) -> Action:
        """Build the index again."""
        return Action("index", "Build the index again", index_command(self._folder))
