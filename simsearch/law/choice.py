"""The country that the user chose, kept in one small file of their settings folder."""

from __future__ import annotations

import json
from pathlib import Path

from simsearch.files import write_text
from simsearch.law.countries import country_id
from simsearch.law.table import LawError

FILE = "country.json"


def settings_folder() -> Path:
    """The folder for this user's settings; it need not exist yet."""
    from platformdirs import user_config_path

    return user_config_path("simsearch", appauthor=False)


def chosen_country(folder: Path | None = None) -> str | None:
    """The id of the country chosen, or ``None`` when none was chosen yet.

    Raises ``LawError`` when the file is there and cannot be used.
    """
    path = (folder or settings_folder()) / FILE
    hint = "Choose again with: simsearch law --set-country COUNTRY"
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except OSError as error:
        raise LawError(f"{path} cannot be read ({error.strerror}).", hint=hint) from error
    except ValueError as error:
        raise LawError(f"{path} is not the file that was written ({error}).", hint=hint) from error
    country = document.get("country") if isinstance(document, dict) else None
    if not isinstance(country, str):
        raise LawError(f"{path} names no country.", hint=hint)
    try:
        return country_id(country)
    except LawError as error:
        raise LawError(f"{path}: {error.message}", hint=hint) from error


def choose_country(country: str, folder: Path | None = None) -> str:
    """Keep the country for later; return its id.

    Raises ``LawError`` for a country that is not known or a folder that cannot be written to.
    """
    known = country_id(country)
    place = folder or settings_folder()
    try:
        place.mkdir(parents=True, exist_ok=True)
        write_text(place / FILE, json.dumps({"country": known}) + "\n")
    except OSError as error:
        raise LawError(
            f"The country could not be kept in {place} ({error.strerror}).",
            hint="Check the folder's permissions, or name the country each time.",
        ) from error
    return known
