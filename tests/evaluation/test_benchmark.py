"""The benchmark end to end on tiny folders, and the parts that it is made of."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("cv2")

from PIL import Image, ImageDraw

import simsearch
from simsearch.errors import EncoderError, SetError, SimsearchError
from simsearch.evaluation import tasks as benchmark_tasks
from simsearch.evaluation.benchmark import in_fresh_process
from simsearch.evaluation.halves import circle_of, half_of
from simsearch.evaluation.methods import CHANCE, Method, Setting, build
from simsearch.evaluation.placed import LookScorer, PlacedScorer
from simsearch.evaluation.report import plain, table
from simsearch.evaluation.runner import measure, options_from, peak_megabytes, run
from simsearch.evaluation.scoring import VectorScorer, turn
from simsearch.evaluation.tasks import Options, tasks
from tests.tiny_set import COLOURS, GridEncoder, make_set

ROOT = Path(__file__).resolve().parents[2]


def coin(seed: int, side: int = 96, colour: tuple[int, int, int] = (150, 110, 60)) -> Image.Image:
    """A disc with spots on a pale ground."""
    rng = np.random.default_rng(seed)
    photo = Image.new("RGB", (side, side), (230, 228, 220))
    draw = ImageDraw.Draw(photo)
    draw.ellipse((0.1 * side, 0.1 * side, 0.9 * side, 0.9 * side), fill=colour)
    for x, y in rng.uniform(0.25, 0.7, (6, 2)) * side:
        draw.rectangle((x, y, x + 7, y + 5), fill=tuple(int(v) for v in rng.integers(0, 255, 3)))
    return photo


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    root = tmp_path / "coins"
    for number, (label, colour) in enumerate((("red", (190, 60, 40)), ("green", (60, 140, 70)))):
        (root / label).mkdir(parents=True)
        for scene in "pq":
            for n in range(2):
                picture = coin(10 * number + n + (scene == "q") * 5, colour=colour)
                picture.save(root / label / f"{scene}_{n}.png")
    return root


@pytest.fixture
def reference(tmp_path: Path) -> Path:
    return make_set(tmp_path / "set")


@pytest.fixture
def renders(tmp_path: Path) -> Path:
    root = tmp_path / "renders"
    for n, (type_id, colour) in enumerate(COLOURS.items()):
        for name in ("complete/{}/0.png", "views/{}/0-front.png", "instances/{}/0-a.png",
                     "instances/{}/0-b.png"):  # fmt: skip
            path = root / name.format(type_id)
            path.parent.mkdir(parents=True, exist_ok=True)
            coin(n, colour=colour).save(path)
    return root


def plain_method(turns: int = 1) -> Method:
    scorer = VectorScorer(GridEncoder())
    return Method("grid", lambda turns: [Setting("3 x 3", "1", scorer)])


def test_every_task_is_measured(photos: Path, renders: Path, reference: Path) -> None:
    options = Options(
        str(renders), (str(photos),), str(reference), unseen=("knee",), seeds=1, turns=2
    )
    rows = {row.task: row for row in measure(plain_method(), options)}
    assert list(rows) == [
        "types, complete", "unseen types, complete", "types, views, front",
        "unseen types, views, front", "same specimen, among all", "same specimen, among its type",
        "ancient coins, whole, turned and lit", "ancient coins, half, as it lay",
        "ancient coins, half, turned and lit", "coins, leave one out", "coins, across scenes",
        "coins, halves: class, own photo left out", "coins, halves: own photo",
    ]  # fmt: skip
    counts = [row.figures.queries for row in rows.values()]
    assert counts == [3, 1, 3, 1, 3, 3, 24, 24, 24, 8, 8, 8, 8]
    # Flat colours tell these types and classes apart, and the same picture is the same picture.
    for name in ("types, complete", "same specimen, among all", "coins, across scenes"):
        assert rows[name].figures.recall_1 == 1
    assert all((row.milliseconds or 0) > 0 for row in rows.values())


def test_chance_needs_no_scores(photos: Path) -> None:
    options = Options(photos=(str(photos),), tasks=("photos", "fragments"))
    rows = {row.task: row.figures for row in measure(build(CHANCE), options)}
    # Four of a class among eight: 3 of the other 7; across scenes 2 of 4; own photo 1 of 8.
    assert rows["coins, leave one out"].recall_1 == pytest.approx(3 / 7)
    assert rows["coins, across scenes"].recall_1 == pytest.approx(2 / 4)
    assert rows["coins, halves: own photo"].recall_1 == pytest.approx(1 / 8)


def test_the_best_setting_of_a_baseline_is_shown(photos: Path) -> None:
    class Fixed(VectorScorer):
        def __init__(self, right: bool) -> None:
            super().__init__(GridEncoder())
            self.describer, self.right = right, right

        def compare(self, queries: list, gallery: np.ndarray) -> np.ndarray:
            good = super().compare(queries, gallery)
            return good if self.right else np.zeros_like(good)

    settings = [Setting("bad", "1", Fixed(False)), Setting("good", "1", Fixed(True))]
    options = Options(photos=(str(photos),), tasks=("photos",))
    every = list(measure(Method("both", lambda turns: settings), options))
    assert [(row.setting, row.tried) for row in every[:2]] == [("bad", 1), ("good", 1)]
    best = list(measure(Method("both", lambda turns: settings, best_only=True), options))
    assert {(row.setting, row.tried) for row in best} == {("good", 2)}


def test_a_gallery_is_described_once_for_all_its_slices(renders: Path, reference: Path) -> None:
    class Counting(GridEncoder):
        seen = 0

        def embed(self, images: list) -> np.ndarray:
            Counting.seen += len(images)
            return super().embed(images)

    setting = Setting("", "1", VectorScorer(Counting()))
    options = Options(str(renders), reference=str(reference), tasks=("types",))
    list(measure(Method("counting", lambda turns: [setting]), options))
    gallery = len(simsearch.open_set(reference).photos)
    assert Counting.seen == gallery + 3 + 3  # two slices of three queries


def test_only_unseen_types_are_looked_up(renders: Path, reference: Path) -> None:
    options = Options(str(renders), (), str(reference), ("unseen",), ("knee",))
    assert [len(task.queries) for task in tasks(options)] == [1, 1]


def test_a_limit_keeps_few_of_each_class(photos: Path) -> None:
    (task,) = tasks(Options(photos=(str(photos),), tasks=("photos",), limit=2))
    assert sorted(task.parts[0].labels) == ["green", "green", "red", "red"]


def test_wrong_folders_are_refused(tmp_path: Path, renders: Path, reference: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(SetError, match="no folder with slices"):
        list(tasks(Options(str(tmp_path / "empty"), tasks=("types",))))
    (renders / "complete" / "unheard-of").mkdir()
    coin(1).save(renders / "complete" / "unheard-of" / "0.png")
    with pytest.raises(SetError, match="unheard-of"):
        list(tasks(Options(str(renders), reference=str(reference), tasks=("types",))))
    answer = run("HOG", Options(str(tmp_path / "gone"), tasks=("types",)))
    assert answer["rows"] == [] and "gone" in answer["problem"]


def test_names_of_methods(tmp_path: Path) -> None:
    with pytest.raises(EncoderError, match="no method called"):
        build("magic")
    with pytest.raises(EncoderError, match="NAME=FILE"):
        build("weights:nameless")
    with pytest.raises(EncoderError, match="cannot be read"):
        build(f"weights:old={tmp_path / 'gone.safetensors'}")


def test_untrained_weights_follow_the_seed() -> None:
    one, other = build("untrained"), build("untrained")
    assert one.fingerprint == other.fingerprint != build("built-in").fingerprint


def test_other_weights_are_read_from_their_file() -> None:
    from simsearch.encode.builtin import WEIGHTS

    same = build(f"weights:as shipped={WEIGHTS}")
    assert same.name == "as shipped" and same.fingerprint == build("built-in").fingerprint


def test_placing_orders_the_shortlist_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("simsearch.evaluation.placed.SHORTLIST", 2)

    class Patched(GridEncoder):
        def patches(self, images: list) -> np.ndarray:
            return self.embed(images)[:, None, None, :]

    class Agreeing:
        def __init__(self, agreement: float) -> None:
            self.agreement = agreement

    def place(query: np.ndarray, references: np.ndarray) -> list[Agreeing]:
        assert query.ndim == 3 and len(references) == 2  # the shortlist only
        return [Agreeing(0.1), Agreeing(0.9)]

    gallery = [coin(seed, colour=(60 + 60 * seed, 90, 90)) for seed in range(3)]
    plain_scores = VectorScorer(Patched()).scores(gallery[:1], gallery)[0]
    scores = PlacedScorer(Patched(), place, 0.5).scores(gallery[:1], gallery)[0]
    first, second, last = np.argsort(-plain_scores)
    assert np.allclose((scores - plain_scores)[[first, second, last]], [0.05, 0.45, 0.05])


def test_the_product_is_measured_by_its_leads(renders: Path, reference: Path) -> None:
    opened = simsearch.open_set(reference)
    opened.rebuild_index(GridEncoder(), with_patches=False)
    opened._encoders["grid"] = GridEncoder()
    setting = Setting("look()", "-", LookScorer(opened), of_types=True)
    options = Options(str(renders), reference=str(reference), unseen=("knee",))
    rows = list(measure(Method("product", lambda turns: [setting]), options))
    assert {row.task.split(",")[0] for row in rows} == {"types", "unseen types"}
    photo = Image.open(renders / "complete" / "knee" / "0.png")
    first = opened.look(photo, k=3).leads[0].type.id
    (row,) = [row for row in rows if row.task == "unseen types, complete"]
    assert row.figures.recall_1 == (first == "knee")


def test_a_half_is_half_of_the_coin() -> None:
    photo = coin(3, side=150)
    x, y, radius = circle_of(photo)
    assert (x, y) == pytest.approx((75, 75), abs=2) and radius == pytest.approx(60, abs=2)
    half = np.asarray(half_of(photo, np.random.default_rng(1)), dtype=float)
    apart = np.linalg.norm(half - np.median(half[:5].reshape(-1, 3), axis=0), axis=-1) > 30
    assert apart.sum() / (np.pi * 60**2) == pytest.approx(0.5 * 0.97**2, abs=0.06)
    rows, columns = np.nonzero(apart)
    middle = (len(half) - 1) / 2
    assert (rows.min() + rows.max()) / 2 == pytest.approx(middle, abs=1.5)
    assert (columns.min() + columns.max()) / 2 == pytest.approx(middle, abs=1.5)


def test_halves_follow_the_seed_and_change_their_ground() -> None:
    photo = coin(3)
    halves = [half_of(photo, np.random.default_rng(seed)) for seed in (1, 1, 2)]
    assert np.array_equal(halves[0], halves[1]) and not np.array_equal(halves[0], halves[2])
    for half in halves:
        ground = np.median(np.asarray(half)[:4].reshape(-1, 3), axis=0)
        assert np.linalg.norm(ground - (230, 228, 220)) > 40


def test_turned_photos_need_their_turn() -> None:
    """The fine query turns of the ancient coins: 24 steps of 15 degrees."""
    *_, last = tasks(Options(tasks=("ancient",), seeds=1))
    assert last.turned * Options().turns == 24
    assert np.asarray(turn(coin(1), 15)).shape == (96, 96, 3)


def test_peak_memory_is_that_of_this_process() -> None:
    before = peak_megabytes()
    if before is None:
        pytest.skip("this system does not say how much memory a process took")
    block = np.ones(40_000_000, dtype=np.uint8)
    after = peak_megabytes()
    assert after is not None and 20 < before <= after < 20_000
    assert block.sum() == 40_000_000


def test_a_process_that_breaks_down_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("simsearch.evaluation.benchmark.sys.executable", "/bin/false")
    with pytest.raises(SimsearchError, match="broke down"):
        in_fresh_process("HOG", Options())


def test_options_survive_json() -> None:
    options = Options("a", ("b",), tasks=("types",), unseen=("knee",), limit=3)
    assert options_from(json.loads(json.dumps(options.__dict__))) == options
    assert set(Options().tasks) == set(benchmark_tasks.NAMES)


def test_no_number_is_a_dash() -> None:
    assert plain({"a": [float("nan"), 1.5, "x"]}) == {"a": [None, 1.5, "x"]}
    found = {"queries": 0, "recall_1": None, "recall_1_interval": [None, None], "recall_5": None,
             "mean_average_precision": None}  # fmt: skip
    row = {"task": "t", "method": "m", "setting": "s", "turns": "-", "tried": 1,
           "figures": found, "milliseconds": None, "peak_megabytes": None}  # fmt: skip
    assert table([row]).splitlines()[2] == "| t | m | s | - | 0 | - | - | - | - | - |"


def test_the_script_writes_a_table_and_json(photos: Path, tmp_path: Path) -> None:
    out = tmp_path / "out" / "table.md"
    command = [sys.executable, str(ROOT / "scripts/benchmark.py"), "--photos", str(photos),
               "--tasks", "photos", "--methods", "chance", "outline", "magic",
               "--out", str(out)]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == out.read_text("utf-8").strip()
    report = json.loads(out.with_suffix(".json").read_text("utf-8"))
    assert [row["method"] for row in report["rows"]] == ["chance"] * 2 + ["outline"] * 2
    assert report["rows"][2]["peak_megabytes"] > 20
    assert "magic" in report["problems"][0] and "magic" in out.read_text("utf-8")
