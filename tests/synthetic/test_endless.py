"""Forms of no type: sisters, specimens, and that all of them can be packed."""

from __future__ import annotations

import numpy as np
import pytest

from simsearch.synthetic.batch import METALS, pack_arrays
from simsearch.synthetic.endless import sisters, specimen
from simsearch.synthetic.form import Form, Relief


def _groups(count: int, size: int = 4) -> list[list[Form]]:
    return [sisters(np.random.default_rng(seed), size) for seed in range(count)]


def _shared(group: list[Form]) -> bool:
    first = group[0].solids
    return all(
        len(form.solids) == len(first)
        and all(
            a.kind == b.kind and a.size == b.size and np.array_equal(a.centre, b.centre)
            for a, b in zip(form.solids, first, strict=True)
        )
        for form in group
    )


def _drawn(form: Form) -> list[object]:
    return [*form.front.strokes, *form.back.strokes]


def test_two_hundred_groups_pack() -> None:
    for group in _groups(200):
        assert len(group) == 4
        arrays = pack_arrays(group)
        assert all(np.isfinite(values).all() for values in arrays.values())
        assert (arrays["scale"] > 1).all()


def test_about_half_of_the_groups_share_their_solids() -> None:
    # Of 200 throws of a fair coin fewer than 65 or more than 135 heads come once in a million.
    assert 65 <= sum(_shared(group) for group in _groups(200, 2)) <= 135


def test_sisters_that_share_their_solids_differ_in_relief() -> None:
    groups = [group for group in _groups(60) if _shared(group)]
    assert groups
    for group in groups:
        for i, form in enumerate(group):
            assert _drawn(form)
            for other in group[:i]:
                assert _drawn(form) != _drawn(other)
                assert form.front is not other.front and form.back is not other.back


def test_sisters_that_do_not_share_differ_in_their_solids() -> None:
    for group in _groups(60):
        if not _shared(group):
            sizes = [[s.size for s in form.solids] for form in group]
            assert all(sizes[i] != sizes[j] for i in range(4) for j in range(i))


def test_metals_are_known() -> None:
    for group in _groups(40):
        assert all(metal in METALS for form in group for metal, _ in form.finish.metals)


def test_same_seed_same_group() -> None:
    one, two = (pack_arrays(sisters(np.random.default_rng(9), 4)) for _ in range(2))
    for key in one:
        np.testing.assert_array_equal(one[key], two[key])


@pytest.mark.parametrize("amount", [0.0, 0.04])
def test_a_specimen_stays_close_to_its_form(amount: float) -> None:
    for seed in range(40):
        rng = np.random.default_rng(seed)
        form = sisters(rng, 1)[0]
        other = specimen(form, rng, amount)
        low, high = form.bounds()
        span = float(np.linalg.norm(high - low))
        assert [(s.kind, s.part, s.cut) for s in other.solids] == [
            (s.kind, s.part, s.cut) for s in form.solids
        ]
        for a, b in zip(form.solids, other.solids, strict=True):
            # At most two spreads either way, and a shift of some hundredths of the whole.
            np.testing.assert_allclose(b.size, a.size, rtol=2 * amount + 1e-6, atol=1e-6)
            assert np.abs(b.centre - a.centre).max() <= 5 * 0.12 * amount * span + 1e-6
        lower, upper = other.bounds()
        assert float(np.linalg.norm(upper - lower)) == pytest.approx(span, rel=4 * amount + 1e-5)


def test_a_specimen_is_not_its_form_and_leaves_it_alone() -> None:
    rng = np.random.default_rng(3)
    form = next(f for f in (sisters(rng, 1)[0] for _ in range(50)) if _drawn(f))
    before = pack_arrays([form])
    other = pack_arrays([specimen(form, rng)])
    again = pack_arrays([form])
    for key in before:
        np.testing.assert_array_equal(before[key], again[key])
    assert any(not np.allclose(before[k], other[k]) for k in before if k.endswith(".size"))


def test_relief_of_a_specimen_keeps_its_repeats_and_its_marks() -> None:
    for seed in range(40):
        rng = np.random.default_rng(seed)
        form = sisters(rng, 1)[0]
        other = specimen(form, rng)
        for face in ("front", "back"):
            mine: Relief = getattr(form, face)
            its: Relief = getattr(other, face)
            assert its.repeats == mine.repeats and len(its.strokes) == len(mine.strokes)
            for a, b in zip(mine.strokes, its.strokes, strict=True):
                assert (a.height, a.enamel, a.layer) == (b.height, b.enamel, b.layer)
                assert bool(a.radius) == bool(b.radius)
