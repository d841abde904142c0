"""Conversions against figures that the surveys have published.

- Ordnance Survey, "A guide to coordinate systems in Great Britain", annex C: the projection of the
  worked example, Caister water tower, on the Airy ellipsoid and the National Grid.
- Ordnance Survey, "Transformations and OSGM15 user guide", annex A: the same tower from ETRS89 by
  OSTN15 (seen in the tests of others that cite it).
- The Spire of Dublin in both Irish grids, as the encyclopedia articles on the Irish grid reference
  system and Irish Transverse Mercator give it; to the metre (the second pair from memory).
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest
from pyproj import Transformer

from simsearch.register import transform
from simsearch.register.grid import (
    GRID_GB,
    GRID_IRELAND,
    on_grid,
    position,
    read_findspot,
    read_reference,
    reference_at,
)

CAISTER_AIRY = (52 + 39 / 60 + 27.2531 / 3600, 1 + 43 / 60 + 4.5177 / 3600)
CAISTER_GRID = (651409.903, 313177.270)
CAISTER_ETRS89, CAISTER_OSTN15 = (52.658007833, 1.716073973), (651409.804, 313177.450)
SPIRE_IRISH_GRID, SPIRE_ITM = (315904.0, 234671.0), (715830.0, 734697.0)


def apart(one: tuple[float, float], other: tuple[float, float]) -> float:
    return math.dist(one, other)


def test_the_projection_of_the_national_grid_is_that_of_the_worked_example() -> None:
    # EPSG:4277 is latitude and longitude on the datum and ellipsoid of the National Grid.
    latitude, longitude = CAISTER_AIRY
    projected = Transformer.from_crs(4277, transform.GB, always_xy=True)
    assert apart(projected.transform(longitude, latitude), CAISTER_GRID) < 0.002


def test_from_wgs84_to_the_national_grid_within_the_accuracy_that_is_stated() -> None:
    stated = transform.transformation(transform.GB)
    there = transform.from_wgs84(*CAISTER_ETRS89, transform.GB)
    # With the OSTN15 grid installed this is 1 m; with the Helmert transformation 5 m.
    assert apart(there, CAISTER_OSTN15) < stated.accuracy_m
    assert ("Helmert" in stated.name) == (stated.accuracy_m == 5.0)


def helmert(latitude: float, longitude: float) -> tuple[float, float, float]:
    """WGS84 to OSGB36, cartesian, with the seven figures that the guide prints (section 6.6)."""
    a, b = 6378137.0, 6356752.3141
    phi, lam, e2 = math.radians(latitude), math.radians(longitude), 1 - (b / a) ** 2
    nu = a / math.sqrt(1 - e2 * math.sin(phi) ** 2)
    x, y, z = (
        nu * math.cos(phi) * math.cos(lam),
        nu * math.cos(phi) * math.sin(lam),
        nu * (1 - e2) * math.sin(phi),
    )
    rx, ry, rz = (math.radians(second / 3600) for second in (-0.1502, -0.2470, -0.8421))
    s = 1 + 20.4894e-6
    return (
        -446.448 + s * x - rz * y + ry * z,
        125.157 + rz * x + s * y - rx * z,
        -542.060 - ry * x + rx * y + s * z,
    )


def to_airy(x: float, y: float, z: float) -> tuple[float, float]:
    """Cartesian metres to latitude and longitude on the Airy ellipsoid (guide, annex B)."""
    a, b = 6377563.396, 6356256.909
    e2, flat = 1 - (b / a) ** 2, math.hypot(x, y)
    phi = math.atan2(z, flat * (1 - e2))
    for _ in range(10):
        nu = a / math.sqrt(1 - e2 * math.sin(phi) ** 2)
        phi = math.atan2(z + e2 * nu * math.sin(phi), flat)
    return math.degrees(phi), math.degrees(math.atan2(y, x))


@pytest.mark.parametrize("place", [CAISTER_ETRS89, (50.0, -5.5), (57.5, -4.0), (54.2, -2.9)])
def test_the_helmert_transformation_is_that_of_the_published_figures(
    place: tuple[float, float],
) -> None:
    if "Helmert" not in transform.transformation(transform.GB).name:
        pytest.skip("the OSTN15 grid is installed and used instead")
    latitude, longitude = to_airy(*helmert(*place))
    projected = Transformer.from_crs(4277, transform.GB, always_xy=True)
    expected = projected.transform(longitude, latitude)
    assert apart(transform.from_wgs84(*place, transform.GB), expected) < 1.0


def test_a_more_accurate_grid_is_used_when_there_is_one() -> None:
    def offered(description: str, accuracy: float) -> SimpleNamespace:
        return SimpleNamespace(description=description, accuracy=accuracy)

    helmert_one = offered("Inverse of British National Grid + OSGB36 to WGS 84 (6)", 2.0)
    grid = offered("Inverse of British National Grid + OSGB36 to WGS 84 (9)", 1.0)
    rough = offered("Ballpark geographic offset", -1.0)
    assert transform.choose([rough, helmert_one])[0] is helmert_one
    assert transform.choose([helmert_one])[1].accuracy_m == 5.0
    best, stated = transform.choose([helmert_one, grid, rough])
    assert best is grid
    assert stated.accuracy_m == 1.0


def test_between_the_two_irish_grids_within_a_metre() -> None:
    latitude, longitude = transform.to_wgs84(*SPIRE_ITM, transform.ITM)
    there = transform.from_wgs84(latitude, longitude, transform.IRELAND)
    assert apart(there, SPIRE_IRISH_GRID) < 1.0
    assert transform.transformation(transform.IRELAND).accuracy_m <= 1.0


@pytest.mark.parametrize("epsg", [transform.GB, transform.IRELAND, transform.ITM])
def test_there_and_back_again(epsg: int) -> None:
    easting, northing = (315904.0, 234671.0) if epsg != transform.ITM else SPIRE_ITM
    latitude, longitude = transform.to_wgs84(easting, northing, epsg)
    back = transform.from_wgs84(latitude, longitude, epsg)
    assert apart(back, (easting, northing)) < 0.01


def test_letters_and_figures_of_the_worked_examples() -> None:
    assert reference_at(*CAISTER_GRID, GRID_GB).text() == "TG 51409 13177"
    assert reference_at(*SPIRE_IRISH_GRID, GRID_IRELAND).text() == "O 15904 34671"
    spire = read_reference("O1590434671", GRID_IRELAND)
    assert (spire.easting, spire.northing) == SPIRE_IRISH_GRID


@pytest.mark.parametrize(
    ("letters", "east", "north"),
    # South-west corners of squares in hundreds of km, from Ordnance Survey maps (from memory).
    [
        ("SV", 0, 0),
        ("SW", 1, 0),
        ("TV", 5, 0),
        ("TQ", 5, 1),
        ("SU", 4, 1),
        ("TG", 6, 3),
        ("SK", 4, 3),
        ("SD", 3, 4),
        ("OV", 5, 5),
        ("NN", 2, 7),
        ("NA", 0, 9),
        ("HY", 3, 10),
        ("HP", 4, 12),
    ],
)
def test_british_squares(letters: str, east: int, north: int) -> None:
    square = read_reference(f"{letters}00", GRID_GB)
    assert (square.easting, square.northing) == (east * 100_000, north * 100_000)
    assert square.text() == f"{letters} 0 0"


@pytest.mark.parametrize(
    ("letter", "east", "north"),
    # Five rows of five from A in the north-west to Z in the south-east; Dublin is in O.
    [("A", 0, 4), ("C", 2, 4), ("J", 3, 3), ("O", 3, 2), ("V", 0, 0), ("Z", 4, 0), ("W", 1, 0)],
)
def test_irish_squares(letter: str, east: int, north: int) -> None:
    square = read_reference(f"{letter}00", GRID_IRELAND)
    assert (square.easting, square.northing) == (east * 100_000, north * 100_000)
    assert square.text() == f"{letter} 0 0"


def test_a_findspot_in_degrees_on_a_grid_is_no_finer_than_the_transformation() -> None:
    spot = read_findspot("52.658007833, 1.716073973")
    square = on_grid(spot, GRID_GB)
    assert square.side_m >= transform.transformation(transform.GB).accuracy_m
    assert square.text() in ("TG 5141 1318", "TG 5140 1317", "TG 5141 1317", "TG 5140 1318")


def test_a_square_in_degrees_reaches_its_corners() -> None:
    where = position(read_findspot("TG 51 13"))
    assert where is not None
    for corner in ((651000.0, 313000.0), (652000.0, 314000.0), (651000.0, 314000.0)):
        easting, northing = transform.from_wgs84(where.latitude, where.longitude, transform.GB)
        assert apart((easting, northing), corner) <= where.radius_m
