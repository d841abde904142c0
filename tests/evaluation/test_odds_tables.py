"""Tables and pictures of how odds hold, and finds seen from several sides."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from simsearch.evaluation.diagram import reliability_svg
from simsearch.evaluation.odds import (
    MeasuredFinds,
    closeness_table,
    coverage_table,
    measured_finds,
    reliability_bins,
    reliability_table,
)
from simsearch.evaluation.renders import finds
from simsearch.evaluation.several import (
    VIEWS,
    combinations_of,
    measured_views,
    several_table,
    views,
)
from simsearch.leads.calibration import Calibration, fit_calibration
from simsearch.leads.reliability import Bin
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests.leads.test_calibration import PRINTS
from tests.leads.test_calibration import finds as drawn
from tests.tiny_set import COLOURS, GridEncoder, make_set, picture


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    folder = make_set(tmp_path_factory.mktemp("odds") / "set")
    open_set(folder).rebuild_index(GridEncoder())
    return open_set(folder)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rendered")
    for number, (type_id, colour) in enumerate(COLOURS.items()):
        for part in ("complete", "half"):
            (folder / part / type_id).mkdir(parents=True)
            picture(colour, 50 + number).save(folder / part / type_id / "0.jpg")
        (folder / "several" / type_id).mkdir(parents=True)
        for view in VIEWS:
            # Only the front looks like the type; the rest is grey.
            seen = colour if view == "front" else (120, 120, 120)
            picture(seen, 70 + number).save(folder / "several" / type_id / f"0-{view}.jpg")
    picture((0, 0, 0), 1).save(folder / "several" / "knee" / "1-front.jpg")  # has no other view
    return folder


def simulated(count: int = 300) -> tuple[Calibration, MeasuredFinds]:
    features, truth, without = drawn(count)
    calibration = fit_calibration(features, truth, without=without, **PRINTS)
    return calibration, MeasuredFinds(
        whole=features,
        without=without,
        truth=truth,
        objects=np.array([str(n) for n in range(count)]),
        slices=np.where(np.arange(count) % 3 == 0, "half", "complete"),
        families=np.where(truth < 6, "pin", "key"),
        photos=np.ones(count, np.int64),
    )


def test_held_out_pictures_are_measured_with_and_without_their_type(
    reference: ReferenceSet, folder: Path
) -> None:
    some = finds(folder)
    assert {find.slice for find in some} == {"complete", "half"}
    measured = measured_finds(reference, some, GridEncoder())
    assert measured.whole.shape == (6, 3, 2)
    rows = np.arange(6)
    assert (measured.whole[:, :, 0].argmax(axis=1) == measured.truth).all()
    assert np.isneginf(measured.without["type"][rows, measured.truth]).all()
    # Both pictures of a specimen carry one name.
    assert len(set(measured.objects.tolist())) == 3


def test_the_tables_say_what_is_so() -> None:
    calibration, measured = simulated()
    odds = calibration.odds.odds(measured.whole)
    right = 100 * np.mean(odds.argmax(axis=1) == measured.truth)
    row = reliability_table(calibration, measured).splitlines()[2]
    assert row.startswith(f"| all | 300 | {right:.1f} | {100 * odds.max(axis=1).mean():.1f} |")
    assert "| half | 100 |" in reliability_table(calibration, measured)
    coverage = coverage_table(calibration, measured)
    assert "promise 90" in coverage and "| key |" in coverage
    assert calibration.closeness is not None
    near = calibration.closeness.of(calibration.odds, measured.whole)
    far = 100 * np.mean(near < calibration.closeness.threshold)
    row = closeness_table(calibration, measured).splitlines()[2]
    assert row.startswith(f"| all | 300 | {far:.1f} |")


def test_the_diagram_has_a_mark_where_each_bin_lies() -> None:
    bins = {"all <finds>": (Bin(20, 0.25, 0.5), Bin(20, 1.0, 1.0))}
    tree = ElementTree.fromstring(reliability_svg(bins, "Odds & truth"))
    circles = [node.attrib for node in tree.iter() if node.tag.endswith("circle")]
    # A side of 320 and a margin of 48: 0.25 across is 128, 0.5 up is 208 from the top.
    assert {(c["cx"], c["cy"]) for c in circles[:2]} == {("128.0", "208.0"), ("368.0", "48.0")}
    assert len(circles) == 3  # two bins and one in the key
    calibration, measured = simulated()
    found = reliability_bins(calibration, measured)
    assert set(found) == {"all", "half", "complete"}
    ElementTree.fromstring(reliability_svg(found, "Odds"))


def test_finds_are_seen_from_several_sides(reference: ReferenceSet, folder: Path) -> None:
    some = views(folder)
    assert {view: len(rows) for view, rows in some.items()} == dict.fromkeys(VIEWS, 3)
    measured = measured_views(reference, some, GridEncoder())
    every = combinations_of(measured)
    # Three pairs and one of all three, of three finds each.
    assert len(every.truth) == 12
    assert np.bincount(every.photos).tolist() == [0, 0, 9, 3]
    assert len(set(every.objects.tolist())) == 3
    whole = every.whole[every.slices == "front + back + side"]
    # Weighed by nearness, the table of all three lies between those of the single views.
    views_alone = np.stack([part.whole for part in measured.by_view.values()])
    assert (whole <= views_alone.max(0) + 1e-9).all() and (whole >= views_alone.min(0) - 1e-9).all()
    table = several_table(measured, (5.0, 0.0))
    assert "| front | 3 | 100.0" in table and "| all, by max | 3 | 100.0" in table


def test_a_folder_without_views_has_none(tmp_path: Path) -> None:
    assert views(tmp_path) == {}
