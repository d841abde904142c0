"""A few kills; ``python scripts/kill_test.py`` does more of them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.making.kills import kill_once, prepare


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are copied by fork")
def test_a_kill_loses_no_committed_row_and_leaves_a_sound_set(tmp_path: Path) -> None:
    ground = prepare(tmp_path)
    kills = [kill_once(ground, seed, longest_ms=600) for seed in range(3)]
    kills += [kill_once(ground, seed, most_calls=150) for seed in range(3, 6)]
    assert [kill.faults for kill in kills] == [()] * 6
    assert any(kill.steps > 1 for kill in kills)  # work was done before them
