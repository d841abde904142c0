"""Kill programs that write to a register, again and again, and see whether anything was lost.

    python scripts/kill_register.py FOLDER --kills 50 [--seed 1] [--writers 3]

FOLDER must be new or empty. In every round several programs record, change and undo invented finds
with photos in one register, and one of them makes backups; at a random moment all are killed
(SIGKILL). Whatever a program was told is recorded it has noted down before; then the register is
opened again, as after any crash, and compared with the notes: every noted change must be in the
history as it was noted, every find as its last change left it, every photo there with its hash,
and SQLite's own check must pass. Prints figures; ends with 1 if anything was lost.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from simsearch.register.backup import back_up
from simsearch.register.grid import read_findspot
from simsearch.register.photos import NewPhoto
from simsearch.register.records import to_document
from simsearch.register.store import Register, open_register

_LONGEST_WAIT = 60.0


def main() -> int:
    """Read the arguments; kill, look, and say what was found."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--writers", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", type=int, default=None, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.write is not None:
        write_for_ever(given.folder, given.write, given.seed)
    return kill_often(given.folder, given.kills, given.writers, given.seed)


def kill_often(folder: Path, kills: int, writers: int, seed: int) -> int:
    """Run the rounds; return 0 when nothing was lost, else 1."""
    folder.mkdir(parents=True, exist_ok=True)
    chance, found, problems = random.Random(seed), Counter[str](), []
    for number in range(kills):
        programs = [_start(folder, number * writers + i, seed) for i in range(writers)]
        # Some rounds end before the programs have begun, as when a register is first made.
        if number and chance.random() < 0.85:
            _wait_for_notes(folder, [number * writers + i for i in range(writers)])
            time.sleep(chance.uniform(0.0, 0.8))
        else:
            time.sleep(chance.uniform(0.3, 2.0))
        for program in programs:
            if program.poll() is not None:
                problems.append(f"round {number}: a program ended by itself")
            program.kill()
        for program in programs:
            program.wait()
        problems += [f"round {number}: {text}" for text in _look(folder, found)]
    _report(folder, kills, writers, found, problems)
    return 1 if problems else 0


def write_for_ever(folder: Path, number: int, seed: int) -> None:
    """Record, change and undo until killed; note down each change once it is recorded."""
    chance = random.Random(f"{seed} {number}")
    notes = os.open(_notes(folder, number), os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    with open_register(folder / "register") as register:
        own: list[str] = []
        while True:
            noted = _one_change(register, own, chance, number)
            # One write straight to the system: it is there even if the next line never runs.
            os.write(notes, (json.dumps(noted) + "\n").encode())
            if number % 3 == 0 and chance.random() < 0.1:
                back_up(register, folder / "backup.zip", replace=True)


def _one_change(
    register: Register, own: list[str], chance: random.Random, number: int
) -> dict[str, str | None]:
    what, by = chance.random(), f"program {number}"
    if not own or what < 0.3:
        place = read_findspot("TG 51409 13177", words="Harrow Fen (invented)")
        fields = {"title": f"Invented find {chance.random()}", "findspot": place}
        record = register.new(fields, photos=[_photo(chance)], by=by)
        own.append(record.id)
    elif what < 0.45:
        record = register.change(chance.choice(own), {}, photos=[_photo(chance)], by=by)
    elif what < 0.85:
        fields = {"length_mm": round(chance.uniform(5, 90), 2), "nearby": str(chance.random())}
        record = register.change(chance.choice(own), fields, by=by)
    else:
        find_id = chance.choice(own)
        done = register.undo(find_id, by=by)
        if done.after is None:
            own.remove(find_id)
        return {"find": find_id, "after": _digest(done.after)}
    return {"find": record.id, "after": _digest(to_document(record))}


def _photo(chance: random.Random) -> NewPhoto:
    noise = np.random.default_rng(chance.getrandbits(32)).integers(0, 256, (90, 120, 3))
    return NewPhoto(Image.fromarray(noise.astype(np.uint8)), chance.choice(("front", "back")))


def _start(folder: Path, number: int, seed: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, __file__, str(folder), "--write", str(number), "--seed", str(seed)]
    return subprocess.Popen(command)


def _wait_for_notes(folder: Path, numbers: list[int]) -> None:
    until = time.monotonic() + _LONGEST_WAIT
    while time.monotonic() < until:
        files = [_notes(folder, number) for number in numbers]
        if all(file.is_file() and file.stat().st_size for file in files):
            return
        time.sleep(0.02)


def _look(folder: Path, found: Counter[str]) -> list[str]:
    """Open the register after a kill and compare it with every note made so far."""
    if not (folder / "register").exists():
        return []  # killed before anything was made
    with open_register(folder / "register") as register:
        problems = list(register.check())
        kept = {(c.find_id, _digest(c.after)) for c in register.history()}
        lost = [noted for noted in _all_notes(folder) if noted not in kept]
        problems += [f"a change of {find} that was noted is lost" for find, _ in lost]
        found["left over"] = len(register.left_over())
    return problems


def _all_notes(folder: Path) -> list[tuple[str, str]]:
    noted = []
    for file in sorted(folder.glob("notes-*.txt")):
        for line in file.read_text("utf-8").splitlines():
            item = json.loads(line)
            noted.append((item["find"], item["after"]))
    return noted


def _notes(folder: Path, number: int) -> Path:
    return folder / f"notes-{number:04d}.txt"


def _digest(document: dict[str, Any] | None) -> str:
    return hashlib.sha256(json.dumps(document, sort_keys=True).encode()).hexdigest()


def _report(
    folder: Path, kills: int, writers: int, found: Counter[str], problems: list[str]
) -> None:
    with open_register(folder / "register") as register:
        status = register.status()
    lost = sum("is lost" in text for text in problems)
    print(f"kills: {kills}, each of {writers} programs at once")
    print(f"changes noted as recorded: {len(_all_notes(folder))}, lost: {lost}")
    print(f"finds: {status.finds}, photos: {status.photos}, changes: {status.changes}")
    print(f"photo files that nothing names, left by kills: {found['left over']}")
    print(f"other problems: {len(problems) - lost}")
    for text in problems[:20]:
        print(f"  {text}")


if __name__ == "__main__":
    sys.exit(main())
