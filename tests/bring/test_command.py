"""The command: what it says, how it ends. It asks a server on this computer."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from simsearch.commands.bring import app
from simsearch.errors import SimsearchError
from tests.bring.documents import wiki_answer, wiki_page
from tests.bring.server import CONTACT, Site
from tests.bring.test_fetch import put_object


@pytest.fixture(autouse=True)
def no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    # The client takes these as defaults of its parameters.
    from simsearch.bring.polite import PoliteClient

    defaults = PoliteClient.__init__.__kwdefaults__
    assert defaults["sleep"] is time.sleep
    monkeypatch.setitem(defaults, "sleep", lambda seconds: None)


def run(*arguments: str, code: int = 0) -> str:
    done = CliRunner().invoke(app, list(arguments), env={"SIMSEARCH_CONTACT": ""})
    if isinstance(done.exception, SimsearchError):
        raise done.exception
    assert done.exit_code == code, done.output
    return done.output


def test_it_tells_what_is_new_what_was_left_out_and_what_to_do_next(
    site: Site, tmp_path: Path
) -> None:
    put_object(site, "a", rights="http://creativecommons.org/licenses/by-nc/4.0/")
    put_object(site, "b")
    folder = tmp_path / "photos"
    said = run("iiif", f"{site.base}/b", str(folder), "--contact", CONTACT)
    assert "2 new, 0 already there" in said
    assert "Fill in the column type" in said and "simsearch add SET" in said
    assert "0 new, 2 already there" in run(
        "iiif", f"{site.base}/b", str(folder), "--contact", CONTACT
    )
    refused = run("iiif", f"{site.base}/a", str(tmp_path / "x"), "--contact", CONTACT, code=1)
    assert "2: its licence does not allow commercial use" in refused


def test_a_wiki_as_json(site: Site, tmp_path: Path) -> None:
    site.put_json("/w/api.php", wiki_answer([wiki_page(site.base, 1, "Knee")]))
    site.put_picture("/thumb/1.jpg")
    api, folder = f"{site.base}/w/api.php", str(tmp_path / "photos")
    more = ("--category", "Knee", "--type", "knee", "--json", "--contact", CONTACT)
    told = json.loads(run("wiki", api, folder, *more))
    assert (told["new"], told["already"], told["left_out"]) == (1, 0, [])
    assert Path(told["table"]).is_file()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--contact", "me"), "not a contact"),
        (("--contact", CONTACT, "--view", "top"), "not a view"),
        (("--contact", CONTACT, "--type", "Knee Brooch"), "not the id of a type"),
    ],
)
def test_wrong_use_is_told_before_anything_is_asked(
    site: Site, tmp_path: Path, arguments: tuple[str, ...], message: str
) -> None:
    with pytest.raises(SimsearchError, match=message):
        run("iiif", f"{site.base}/a", str(tmp_path / "x"), *arguments)
    assert not site.asked and not (tmp_path / "x").exists()


def test_a_category_or_words_must_be_given(site: Site, tmp_path: Path) -> None:
    with pytest.raises(SimsearchError, match="not both"):
        run("wiki", f"{site.base}/w/api.php", str(tmp_path), "--contact", CONTACT)


def test_a_contact_is_asked_for(site: Site, tmp_path: Path) -> None:
    run("iiif", f"{site.base}/a", str(tmp_path), code=2)
