"""Finding a planted similarity again, on smooth random fields of patch vectors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage  # type: ignore[import-untyped]
from skimage.transform import SimilarityTransform

from simsearch.leads.patches import MOST_COMPARED, VISIBLE, centres, lengths, visible
from simsearch.leads.placing import Placed, place

Floats = NDArray[np.float32]
FINE = 96  # cells a side of the field from which grids are read


def field(seed: int, depth: int = 24) -> Floats:
    """A smooth random field of unit vectors over a square, (FINE, FINE, depth)."""
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal((FINE, FINE, depth))
    smooth = ndimage.gaussian_filter(noise, (FINE / 14, FINE / 14, 0))
    unit: Floats = (smooth / np.linalg.norm(smooth, axis=2, keepdims=True)).astype(np.float32)
    return unit


def read(source: Floats, places: Floats, grid: int) -> Floats:
    """The vectors of a field at places (grid * grid, 2) in fractions, as a grid; 0 outside."""
    at = (places[:, ::-1].T * FINE) - 0.5
    parts = [ndimage.map_coordinates(source[:, :, k], at, order=1) for k in range(source.shape[2])]
    return np.stack(parts, axis=-1).reshape(grid, grid, -1).astype(np.float32)


def disc(grid: int, radius: float = 0.38) -> Floats:
    """How much of each patch lies in a disc in the middle, (grid, grid, 1)."""
    distance = np.linalg.norm(centres(grid, grid) - 0.5, axis=1).reshape(grid, grid, 1)
    return np.clip((radius - distance) * grid + 0.5, 0, 1).astype(np.float32)


def truth(scale: float, turn: float, shift: tuple[float, float]) -> Placed:
    return Placed(1.0, scale, turn, shift, 0.0, np.zeros((0, 4), np.float32))


def planted(source: Floats, known: Placed, grid: int) -> Floats:
    """The grid of a find that ``known`` lays over the field: its patches, in a disc."""
    return read(source, known.carry(centres(grid, grid)), grid) * disc(grid)


def reference(source: Floats, grid: int, radius: float = 0.46) -> Floats:
    return read(source, centres(grid, grid), grid) * disc(grid, radius)


def off(found: Placed, known: Placed) -> float:
    """Mean distance between the two, over a disc of the find, as a share of the square."""
    places = centres(12, 12)[disc(12)[..., 0].ravel() > 0.5]
    return float(np.linalg.norm(found.carry(places) - known.carry(places), axis=1).mean())


CASES = [
    (0.5, 0.0, (0.0, 0.0)),
    (0.5, 130.0, (0.1, -0.08)),
    (0.7, -75.0, (-0.07, 0.06)),
    (0.9, 180.0, (0.02, 0.0)),
    (0.4, 20.0, (-0.15, -0.1)),
]


@pytest.mark.parametrize("grid", [12, 24])
@pytest.mark.parametrize("case", range(len(CASES)))
def test_a_planted_similarity_is_found_again(case: int, grid: int) -> None:
    known = truth(*CASES[case])
    source = field(case)
    others = [reference(field(100 + other), grid) for other in range(3)]
    references = np.stack([reference(source, grid), *others])
    found = place(planted(source, known, grid), references)
    # Half a patch of the coarser grid, over all of the find.
    assert off(found[0], known) < 1 / 24
    assert found[0].scale == pytest.approx(known.scale, rel=0.08)
    assert (found[0].turn - known.turn + 180) % 360 - 180 == pytest.approx(0, abs=5)
    assert found[0].agreement > 0.5
    assert max(one.agreement for one in found[1:]) < 0.5 * found[0].agreement


def test_the_turn_is_counter_clockwise_as_seen() -> None:
    # numpy's rot90 turns counter-clockwise as printed, row 0 on top; so does a Pillow rotate.
    whole = reference(field(3), 12)
    turned = np.rot90(whole, -1)  # the find lies a quarter clockwise
    found = place(turned, whole[None])[0]
    assert found.turn == pytest.approx(90, abs=2)
    assert found.scale == pytest.approx(1, abs=0.02)
    assert found.agreement == pytest.approx(1, abs=0.1)  # its rim is only partly object


@pytest.mark.parametrize("case", range(len(CASES)))
def test_pairs_give_the_same_similarity_to_another_library(case: int) -> None:
    known, source = truth(*CASES[case]), field(case)
    found = place(planted(source, known, 12), reference(source, 12)[None])[0]
    assert 4 <= len(found.pairs) <= 12
    estimated = SimilarityTransform.from_estimate(found.pairs[:, :2], found.pairs[:, 2:])
    assert estimated.scale == pytest.approx(found.scale, rel=1e-3)
    # There y runs upwards in the reader's mind: its turns have the other sign.
    assert math.degrees(-estimated.rotation) == pytest.approx(found.turn, abs=0.1)
    places = centres(4, 4)
    assert np.allclose(estimated(places), found.carry(places), atol=1e-3)


def test_a_mirrored_find_is_refused_unless_asked_for() -> None:
    whole = reference(field(5), 12)
    flipped = whole[:, ::-1]
    refused = place(flipped, whole[None])[0]
    asked = place(flipped, whole[None], mirror=True)[0]
    assert refused.agreement < 0.5
    assert not refused.mirrored
    assert asked.agreement > 0.9
    assert asked.mirrored
    corner = asked.carry(np.array([[0.2, 0.3]], np.float32))[0]
    assert corner == pytest.approx([0.8, 0.3], abs=0.02)
    # Pairs name places on the find as it is, not on the flipped one.
    assert np.allclose(asked.carry(asked.pairs[:, :2]), asked.pairs[:, 2:], atol=1e-4)
    assert not place(whole, whole[None], mirror=True)[0].mirrored


def test_what_the_background_looks_like_changes_nothing() -> None:
    known, source = truth(0.6, 40.0, (0.05, 0.0)), field(6)
    find, whole = planted(source, known, 12), reference(source, 12)
    plain = place(find, whole[None])[0]
    rng = np.random.default_rng(1)
    noise = rng.standard_normal(find.shape).astype(np.float32)
    noise *= 0.9 * VISIBLE / np.linalg.norm(noise, axis=2, keepdims=True)
    busy = place(np.where(lengths(find)[..., None] == 0, noise, find), whole[None])[0]
    assert off(busy, plain) < 0.01
    assert busy.agreement == pytest.approx(plain.agreement, abs=0.01)


def test_parts_that_the_find_lacks_do_not_count_but_parts_off_the_reference_do() -> None:
    whole = reference(field(7), 12)
    left = whole.copy()
    left[:, 6:] = 0
    part_on_whole = place(left, whole[None])[0]
    whole_on_part = place(whole, left[None])[0]
    assert part_on_whole.agreement > 0.85
    assert whole_on_part.agreement < 0.65
    assert part_on_whole.seen == pytest.approx(0.5, abs=0.08)
    assert whole_on_part.seen == pytest.approx(1, abs=0.1)


def test_seen_is_the_share_of_the_area_covered() -> None:
    # The find's disc of radius 0.38, at half the size, in a disc of radius 0.46.
    known, source = truth(0.5, 10.0, (0.0, 0.0)), field(8)
    found = place(planted(source, known, 24), reference(source, 24)[None])[0]
    assert found.seen == pytest.approx((0.5 * 0.38 / 0.46) ** 2, abs=0.04)


def test_nothing_visible_agrees_with_nothing() -> None:
    whole = reference(field(9), 12)
    empty = np.zeros_like(whole)
    for one in (place(empty, whole[None])[0], place(whole, empty[None])[0]):
        assert (one.agreement, one.seen, one.scale, one.turn) == (0, 0, 1, 0)
        assert one.pairs.shape == (0, 4)
    mixed = place(whole, np.stack([empty, whole]))
    assert mixed[0].agreement == 0
    assert mixed[1].agreement > 0.9
    assert place(whole, np.zeros((0, 12, 12, 24), np.float32)) == []


def test_one_visible_patch_and_a_field_of_one_value_are_no_trouble() -> None:
    whole = reference(field(9), 12)
    one = np.zeros_like(whole)
    one[5, 5] = whole[5, 5]
    assert 0 <= place(one, whole[None])[0].agreement <= 1
    flat = np.zeros_like(whole)
    flat[..., 0] = 1  # every patch is like every other
    found = place(flat, flat[None])[0]
    assert found.agreement == pytest.approx(1, abs=0.01)
    assert np.isfinite(found.carry(centres(3, 3))).all()


def test_values_that_are_no_numbers_count_as_background() -> None:
    whole = reference(field(9), 12)
    broken = whole.copy()
    broken[3, 3, 0], broken[4, 4, 1] = np.nan, np.inf
    assert place(broken, whole[None])[0].agreement > 0.9
    assert place(whole, broken[None])[0].agreement > 0.9


def test_the_order_and_number_of_references_change_nothing() -> None:
    find = planted(field(1), truth(0.6, 70.0, (0.0, 0.1)), 12)
    references = np.stack([reference(field(seed), 12) for seed in range(40)])
    together = place(find, references)
    again = place(find, references[::-1])[::-1]
    alone = [place(find, one[None])[0] for one in references[:3]]
    assert [one.agreement for one in together] == pytest.approx([one.agreement for one in again])
    for one, other in zip(alone, together, strict=False):
        assert one.agreement == pytest.approx(other.agreement, abs=1e-4)


def test_eight_bit_storage_changes_nothing_that_matters() -> None:
    known, source = truth(0.6, -100.0, (0.05, 0.05)), field(11)
    find, whole = planted(source, known, 12), reference(source, 12)
    scale = np.abs(whole).max() / 127
    stored = (np.rint(whole / scale) * scale).astype(np.float32)
    exact, rounded = (place(find, one[None])[0] for one in (whole, stored))
    assert off(exact, rounded) < 0.01
    assert rounded.agreement == pytest.approx(exact.agreement, abs=0.02)


def test_grids_of_different_sizes_can_be_laid_over_each_other() -> None:
    known, source = truth(0.6, 50.0, (0.0, 0.05)), field(12)
    found = place(planted(source, known, 12), reference(source, 24)[None])[0]
    assert off(found, known) < 1 / 24


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="cannot be laid over"):
        place(np.zeros((3, 3, 4), np.float32), np.zeros((1, 3, 3, 5), np.float32))
    with pytest.raises(ValueError, match="cannot be laid over"):
        place(np.zeros((3, 3, 4), np.float32), np.zeros((3, 3, 4), np.float32))


def test_carrying_follows_the_definition() -> None:
    placed = replace(truth(2.0, 90.0, (0.1, 0.2)))
    middle, right = placed.carry(np.array([[0.5, 0.5], [0.6, 0.5]], np.float32))
    assert middle == pytest.approx([0.6, 0.7])
    # Right of the middle goes above it: a quarter counter-clockwise, y downwards, twice as far.
    assert right == pytest.approx([0.6, 0.5])


def test_a_fine_grid_is_thinned_evenly() -> None:
    grid = np.ones((40, 40, 2), np.float32)
    kept = visible(grid)
    assert len(kept.weights) == MOST_COMPARED
    counted = np.histogram2d(kept.places[:, 0], kept.places[:, 1], bins=4, range=[(0, 1)] * 2)[0]
    assert counted.min() >= 4  # of about 6 in each sixteenth of the square
