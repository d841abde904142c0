"""Killing a process that changes a set, at moments it cannot choose, and looking what is left.

The process imports, re-indexes, withdraws, merges and relabels without end. It writes down,
outside the set, what it is about to do and the rows that stood in the set after each step. After
the kill, every row written down must be in the set still, unless it was about to be withdrawn.
"""

from __future__ import annotations

import json
import os
import random
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

from simsearch.making.add import add_photos
from simsearch.making.from_folder import plan_from_folder
from simsearch.making.labels import give_opinion
from simsearch.making.ledger import read_ledger
from simsearch.making.new_set import make_set
from simsearch.making.withdraw import withdraw_photos
from simsearch.sets.check import check_set
from simsearch.sets.opinions import Opinion
from simsearch.sets.reference_set import open_set
from simsearch.share.merge import merge_sets, plan_merge
from tests.making.club import DEFAULTS, club_set, snap
from tests.tiny_set import GridEncoder

TYPES = ("knee", "dolphin", "hod-hill", "jetton")
FOLDERS, PHOTOS, OTHERS = 6, 12, 2
_BATCH = 4
_MANY = 60  # photos in the set; above this it is rather withdrawn than added
OPERATIONS = ("import", "re-index", "delete", "merge", "relabel")


@dataclass(frozen=True)
class Ground:
    """Where it happens: the set, folders to import, sets to merge, and what was written down."""

    folder: Path
    incoming: tuple[Path, ...]
    others: tuple[Path, ...]
    record: Path


@dataclass(frozen=True)
class Kill:
    """One kill: what was going on, and what was found afterwards (nothing, if all is well)."""

    after_ms: int
    during: str
    committed: bool
    rows: int
    steps: int
    faults: tuple[str, ...]


def prepare(place: Path) -> Ground:
    """Make the set and what is to be brought into it."""
    folder = club_set(place / "set")
    incoming = []
    for number in range(FOLDERS):
        for photo in range(PHOTOS):
            kind = TYPES[photo % len(TYPES)]
            name = f"in-{number}/{kind}/{number}-{photo // 8}_{photo}.jpg"
            snap(place / name, seed=1000 * number + photo)
        incoming.append(place / f"in-{number}")
    others = []
    for number in range(OTHERS):
        other = make_set(place / f"other-{number}", "Other (invented)", types_from=folder)
        for photo in range(PHOTOS):
            name = f"merge-{number}/{TYPES[photo % len(TYPES)]}/m{number}-{photo}.jpg"
            snap(place / name, seed=50_000 + 1000 * number + photo)
        add_photos(other, plan_from_folder(open_set(other), place / f"merge-{number}", DEFAULTS))
        others.append(other)
    return Ground(folder, tuple(incoming), tuple(others), place / "record.jsonl")


def kill_once(ground: Ground, seed: int, *, longest_ms: int = 0, most_calls: int = 0) -> Kill:
    """Start the work, kill it at a random moment, and look at what is left.

    The moment is one of the next ``longest_ms`` milliseconds, or with ``most_calls`` just before
    one of that many calls that move, remove or flush a file: where a half-done change shows.
    """
    chance = random.Random(seed)
    ground.record.write_bytes(b"")
    call = chance.randint(1, most_calls) if most_calls else 0
    child = os.fork()
    if child == 0:
        _work_until_killed(ground, seed, call)
    began = time.monotonic()
    if not call:
        while not ground.record.stat().st_size:
            time.sleep(0.001)
        began = time.monotonic()
        time.sleep(chance.uniform(1, longest_ms) / 1000)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    after = (time.monotonic() - began) * 1000
    committed = (ground.folder / ".changes/journal.json").exists()
    record = [json.loads(line) for line in _whole_lines(ground.record)]
    faults = list(_faults(ground.folder, record))
    if not os.WIFSIGNALED(status):
        told = [one["error"] for one in record if "error" in one]
        faults.append(f"the work ended by itself: {told}")
    during = next((one["begin"] for one in reversed(record) if "begin" in one), "none")
    if record and "end" in record[-1]:
        during = "between two"
    steps = sum("rows" in one for one in record)
    rows = len(open_set(ground.folder).photos)
    return Kill(round(after), during, committed, rows, steps, tuple(faults))


def _work_until_killed(ground: Ground, seed: int, call: int) -> None:
    """Work in a process of its own, which dies just before the given call; 0 for no call."""
    try:
        with open(ground.record, "a", buffering=1, encoding="utf-8") as record:
            _work(ground, seed, record, call)
    except BaseException as error:
        with open(ground.record, "a", encoding="utf-8") as record:
            record.write(json.dumps({"error": f"{type(error).__name__}: {error}"}) + "\n")
    finally:
        os._exit(9)  # it never ends by itself; this is told as a fault


def _die_before(call: int) -> None:
    count = 0

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def counting(*arguments: Any, **options: Any) -> Any:
            nonlocal count
            count += 1
            if count == call:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*arguments, **options)

        return counting

    for name in ("replace", "unlink", "fsync"):
        setattr(os, name, counted(getattr(os, name)))


def _whole_lines(path: Path) -> list[str]:
    return [line for line in path.read_text("utf-8").splitlines(keepends=True) if line[-1] == "\n"]


def _work(ground: Ground, seed: int, record: TextIO, call: int) -> None:
    chance = random.Random(-seed)

    def note(**what: Any) -> None:
        record.write(json.dumps(what) + "\n")
        record.flush()

    note(**_rows(ground.folder))
    if call:
        _die_before(call)
    while True:
        many = len(open_set(ground.folder).photos) > _MANY
        name = chance.choice(OPERATIONS if not many else ("delete", "re-index"))
        note(begin=name)
        _operate(ground, name, chance, note)
        note(**_rows(ground.folder))
        note(end=name)


def _operate(ground: Ground, name: str, chance: random.Random, note: Any) -> None:
    folder = ground.folder
    photos = [photo.id for photo in open_set(folder).photos]
    if name == "import":
        source = chance.choice(ground.incoming)
        plan = plan_from_folder(open_set(folder), source, DEFAULTS, again=True)
        add_photos(folder, plan, batch=_BATCH, progress=lambda done, total: note(**_rows(folder)))
    elif name == "re-index" and photos:
        open_set(folder).rebuild_index(GridEncoder())
    elif name == "delete" and len(photos) > 1:
        going = chance.sample(photos, min(len(photos) - 1, chance.randint(1, 12)))
        note(going=going)
        withdraw_photos(folder, going)
    elif name == "merge":
        other = chance.choice(ground.others)
        # Relabelled photos are in conflict; the first way takes nothing of ours away.
        conflicts = plan_merge(folder, other).conflicts
        merge_sets(folder, other, {one.name: one.options[0] for one in conflicts})
    elif name == "relabel" and photos:
        who = ("B. Finder (invented)", "seen in the hand")
        give_opinion(folder, chance.choice(photos), chance.choice(TYPES), *who, in_force=True)


def _rows(folder: Path) -> dict[str, Any]:
    reference = open_set(folder)
    photos = {photo.id: photo.sha256 for photo in reference.photos}
    return {"rows": photos, "opinions": [_told(one) for one in reference.opinions]}


def _told(opinion: Opinion) -> list[str]:
    return list(opinion.cells().values())


def _faults(folder: Path, record: list[dict[str, Any]]) -> Iterator[str]:
    """Say what was lost and what is wrong; nothing when all is well."""
    reference = open_set(folder)  # finishes what was interrupted, as anybody's opening does
    yield from (f"check: {found}" for found in check_set(folder) if found.severity == "error")
    now = {photo.id: photo.sha256 for photo in reference.photos}
    seen = max((n for n, one in enumerate(record) if "rows" in one), default=None)
    if seen is None:
        return
    going = [name for one in record[seen:] for name in one.get("going", ())]
    left = [name for name in going if name in now]
    if left and len(left) < len(going):
        yield f"withdrawn by half: {len(left)} of {len(going)} are left"
    for name, digest in record[seen]["rows"].items():
        if name not in going and now.get(name) != digest:
            yield f"lost: photo {name}"
    opinions = [_told(one) for one in reference.opinions]
    for told in record[seen]["opinions"]:
        if told[0] not in going and told not in opinions:
            yield f"lost: opinion {told}"
    came = {row["photo"] for row in read_ledger(folder)} - {""}
    if not came <= now.keys():
        yield f"named but not there: {sorted(came - now.keys())}"
    if (folder / ".changes").exists() and any((folder / ".changes").iterdir()):
        yield "something is left in .changes"
