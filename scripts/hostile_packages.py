"""Write hostile packages to a folder, to try another version or another program on them.

    python scripts/hostile_packages.py FOLDER 1000

They are those of the test suite: made from a tiny invented set by a seeded chance.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.share.hostile import hostile_package
from tests.share.packages import club_set, packed, parts_of


def main(folder: str, count: str = "1000") -> None:
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        good = parts_of(packed(club_set(Path(place) / "set", photos_per_type=1)))
    for seed in range(int(count)):
        (target / f"hostile-{seed:05d}.zip").write_bytes(hostile_package(good, seed))
    print(f"{count} packages in {target}")


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    main(*sys.argv[1:])
