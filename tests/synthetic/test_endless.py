"""Forms of no type: sisters, specimens, and that all of them can be packed."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.batch import METALS, pack_arrays
from simsearch.synthetic.endless import sisters
from simsearch.synthetic.form import Form


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
