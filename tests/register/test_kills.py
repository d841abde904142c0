"""Programs that write to a register are killed: nothing that was recorded is lost."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from collections import Counter
from pathlib import Path
from types import ModuleType

import simsearch
from simsearch.register.store import open_register

SCRIPT = Path(simsearch.__file__).parents[1] / "scripts" / "kill_register.py"


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("kill_register", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_six_kills_lose_nothing_and_a_loss_would_be_seen(tmp_path: Path) -> None:
    folder = tmp_path / "killed"
    ran = subprocess.run(
        [sys.executable, SCRIPT, folder, "--kills", "6", "--writers", "2"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "lost: 0" in ran.stdout
    look = _script()._look
    with open_register(folder / "register") as register:
        assert register.status().changes > 5
        photo = register.named_photos()[0]
        register.photo_path(photo).unlink()
    assert "missing" in " ".join(look(folder, Counter()))
    # A change that was noted and is not in the register.
    note = folder / "notes-9999.txt"
    note.write_text('{"find": "find-0001", "after": "0"}\n', encoding="utf-8")
    assert "is lost" in " ".join(look(folder, Counter()))
