"""Measuring a find against a set from which its own type has been taken out.

What a set says about a find of a type that it lacks can only be learnt by leaving out a type that
it has: all its photos, as if nobody had taken them. A type by itself is the hard case, since its
look-alikes stay; its whole group (all bow brooches, say) is the easier one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from simsearch.index.photo_index import Floats, PhotoIndex
from simsearch.leads.features import Doubles, features_of
from simsearch.leads.grouping import PhotoGroups

KINDS = ("type", "group")


def features_with_and_without(
    index: PhotoIndex,
    groups: PhotoGroups,
    families: Sequence[str],
    find: tuple[Floats, Floats | None],
    own_type: int,
    *,
    always_out: NDArray[np.bool_] | None = None,
) -> dict[str, Doubles]:
    """Return the features (types, F) of one photo against the set whole and in part.

    ``find`` is the photo's vector (dim,) and its patches (R, C, D) or ``None``. ``families``
    names the group of every type. The keys are "whole" and ``KINDS``: with the find's type, or
    all types of its group, left out. ``always_out`` (photos,) are left out everywhere: the
    photos of the find itself, where it is one of the set's own objects.
    """
    vector, patches = find
    grid = None if patches is None else patches[None]
    type_of_photo = groups.type_of_specimen[groups.specimen_of_photo]
    same_group = np.array([family == families[own_type] for family in families])
    never = np.zeros(len(type_of_photo), bool) if always_out is None else always_out
    found: dict[str, Doubles] = {}
    known = None
    for kind, out in (
        ("whole", never),
        ("type", never | (type_of_photo == own_type)),
        ("group", never | same_group[type_of_photo]),
    ):
        measured = features_of(index, groups, vector[None], grid, left_out=out, known=known)
        known = known or measured.placed
        found[kind] = measured.values[0]
    return found
