"""Small finds that are no brooches, and modern brooches that are no finds."""

from __future__ import annotations

import numpy as np

from simsearch.synthetic.form import Finish, Form, Relief, spiral
from simsearch.synthetic.typed import long, makes, plate, vary
from simsearch.synthetic.typed.fixings import animal_limbs, ribbon


@makes("strap-end-class-a")
def strap_end_class_a(rng: np.random.Generator) -> Form:
    """Convex-sided tongue: split butt with two rivets and a leaf, animal panel, animal head."""
    form = Form("strap-end-class-a",
                finish=Finish((("copper alloy", 0.85), ("silver", 0.15)), tinned=0.05))  # fmt: skip
    k, fat = vary(rng, 1.0, 0.17), vary(rng, 1.0, 0.1)
    w = 6.0 * k * fat
    form.slab("butt", (0, 15.5 * k, 0), 9 * k, w * 1.9, w * 1.6, thickness=2.4 * k)
    form.slab("body", (0, 5 * k, 0), 14 * k, w * 1.95, w * 2.0, thickness=2.3 * k)
    form.slab("body", (0, -7 * k, 0), 12 * k, w * 1.15, w * 1.95, thickness=2.2 * k)
    form.slab("butt", (0, 17.5 * k, -0.2), 9 * k, w * 3, thickness=0.6 * k, cut=True)
    for x in (-1, 1):
        form.drum("butt", (x * w * 0.45, 16.5 * k, 0), 0.9 * k, height=9, cut=True)
        form.ball("head", (x * 2.9 * k, -13.6 * k, 0.6), (2.0 * k, 2.4 * k, 1.3 * k), turn=15 * x)
    snout = vary(rng, 1.0, 0.12)
    form.sweep("head", [(0, -11 * k, 0), (0, -15.5 * k, 0.3), (0, -15.5 * k - 6 * k * snout, 0)],
               [3.0 * k, 3.2 * k, 1.9 * k], flat=0.45)  # fmt: skip
    sides = form.front.layer(1, mirror=True)
    form.front.circle((2.9 * k, -13.6 * k), 1.1 * k, 0.5, -0.45, layer=sides)
    form.front.dot((1.2 * k, -17 * k), 0.6 * k, -0.5, layer=sides)
    form.front.path([(0, -16 * k), (1.2 * k, -20 * k)], 0.5, -0.4, layer=sides)
    form.front.path([(0, 10.2 * k), (w * 0.72, 9 * k), (w * 0.8, 4 * k), (w * 0.66, -4 * k),
                     (w * 0.4, -10 * k), (0, -10.6 * k)], 0.8, 0.5, layer=sides)  # fmt: skip
    for tip in ((0, 15.5 * k), (1.3 * k, 14.2 * k)):
        form.front.line((0, 11.4 * k), tip, 0.5, 0.5, end_width=1.5 * k, layer=sides)
    if rng.random() < 0.8:
        animal_limbs(form.front, rng, (-w * 0.5, -8 * k), (w * 0.5, 8.5 * k), 9, width=0.8)
    else:
        form.front.path(spiral((0, 4 * k), w * 0.5, 2, steps=14), 0.7, 0.5)
        form.front.path(spiral((0, -4 * k), w * 0.42, 2, steps=12), 0.7, 0.5)
    return form


@makes("hairpin-globular")
def hairpin_globular(rng: np.random.Generator) -> Form:
    """Long straight shaft, often swollen towards the middle, under a round head."""
    form = Form("hairpin-globular", finish=Finish((("bone", 0.75), ("copper alloy", 0.25))))
    long_, head = vary(rng, 74, 0.22), vary(rng, 3.0, 0.14)
    neck, swell = vary(rng, 1.15, 0.1), vary(rng, 1.75, 0.14)
    top = long_ / 2
    form.ball("head", (0, top - head, 0), (head, head * vary(rng, 1.0, 0.12), head))
    for _ in range(int(rng.integers(0, 4))):  # knife facets
        a, tilt = rng.uniform(0, 2 * np.pi), rng.uniform(-0.6, 0.6)
        way = np.array([np.cos(a), tilt, np.sin(a)])
        way = way / np.linalg.norm(way)
        at = np.array([0, top - head, 0]) + way * (head * 0.9 + 2)
        form.slab("head", at, 6, 6, thickness=4, axis=way, cut=True)
    bend = float(rng.normal(0, 0.8))
    form.sweep("shaft", [(0, top - 2 * head, 0), (bend, long_ * 0.02, 0), (bend, -long_ * 0.2, 0)],
               [neck, swell, swell * 0.85])  # fmt: skip
    form.rod("tip", (bend, -long_ * 0.2, 0), (0, -top, 0), swell * 0.85, 0.35)
    if rng.random() < 0.25:
        form.ring("head", (0, top - 2 * head - 0.4, 0), neck, 0.5, axis=(0, 1, 0))
    return form


@makes("button-cast-loop")
def button_cast_loop(rng: np.random.Generator) -> Form:
    """Disc or dome with a loop standing on its back amid casting and turning marks."""
    form = Form("button-cast-loop",
                finish=Finish((("copper alloy", 0.75), ("silver", 0.1), ("lead", 0.15)),
                              tinned=0.2, gilt=0.12))  # fmt: skip
    r = float(np.exp(rng.uniform(np.log(6.5), np.log(16))))
    kind = str(rng.choice(["flat", "dome", "ball"], p=[0.55, 0.3, 0.15]))
    if kind == "ball":
        r = min(r, 8.5)
        form.ball("disc", (0, 0, 0.5), (r, r, r * float(rng.uniform(0.6, 0.9))))
        back = -r * 0.55
    else:
        form.drum("disc", (0, 0, 0.6), r, r * 0.97, height=1.3, bevel=0.35)
        if kind == "dome":
            form.ball("disc", (0, 0, 0.6), (r * 0.97, r * 0.97, r * 0.28))
        back = 0.0
    spigot = vary(rng, 2.2, 0.15) * (0.7 + r / 30)
    form.drum("spigot", (0, 0, back - 0.5), spigot * 0.75, spigot, height=1.5)
    loop = vary(rng, 2.1, 0.12) * (0.7 + r / 30)
    form.ring("loop", (0, 0, back - 0.8 - loop), loop, vary(rng, 0.65, 0.1), axis=(1, 0, 0))
    if kind == "flat":
        for i in range(int(rng.integers(2, 5))):
            form.back.circle((0, 0), r * (0.45 + 0.14 * i), 0.35, -0.25)
    form.back.line((-spigot, 0), (-spigot * 1.6, 0), 0.7, 0.3)
    _button_front(form.front, rng, r)
    return form


def _button_front(front: Relief, rng: np.random.Generator, r: float) -> None:
    """Plain, turned rings, a flower, rays, or hatching round a middle."""
    kind = rng.integers(5)
    if kind >= 1 and rng.random() < 0.6:
        front.circle((0, 0), r * 0.88, 0.5, 0.35)
    if kind == 1:
        for share in (0.25, 0.5, 0.7):
            front.circle((0, 0), r * share, 0.5, -0.35)
    elif kind == 2:
        petals = front.layer(int(rng.integers(5, 9)))
        front.line((0, r * 0.25), (0, r * 0.6), r * 0.08, 0.5, end_width=r * 0.3, layer=petals)
        front.dot((0, 0), r * 0.16, 0.5)
    elif kind == 3:
        rays = front.layer(int(rng.integers(10, 20)))
        front.line((0, r * 0.3), (0, r * 0.8), 0.4, -0.35, end_width=0.8, layer=rays)
    elif kind == 4:
        cross = front.layer(4, mirror=True)
        for i in range(4):
            x = r * (0.05 + 0.13 * i)
            front.line((x, x), (0, 1.3 * x + 0.2 * r), 0.5, 0.35, layer=cross)


@makes("rotary-key")
def rotary_key(rng: np.random.Generator) -> Form:
    """Bow to hold, stem, and a bit cut by clefts standing off one side of the stem."""
    form = Form("rotary-key", finish=Finish((("iron", 0.55), ("copper alloy", 0.45)), tinned=0.04))
    k = float(np.exp(rng.uniform(np.log(0.55), np.log(1.5))))
    thick = vary(rng, 2.1, 0.15) * k
    bottom, collar = -34 * k, 12 * k
    kind = str(rng.choice(["ring", "kidney", "lozenge", "pierced"], p=[0.4, 0.3, 0.15, 0.15]))
    size = vary(rng, 9.5, 0.12) * k
    middle = collar + size
    if kind == "ring":
        form.ring("bow", (0, middle, 0), size, thick, flat=float(rng.choice([0.65, 1.0])))
    elif kind == "kidney":
        t = np.radians(np.linspace(-90, 270, 13))
        x, y = np.cos(t), 0.75 * np.sin(t) - 0.2 * np.cos(t) ** 2
        outline = [(1.3 * size * float(a), middle + size * float(b))
                   for a, b in zip(x, y, strict=True)]  # fmt: skip
        ribbon(form, "bow", outline, [thick] * 13, 1.4 * thick)
    elif kind == "lozenge":
        corners = [(0, collar), (size, middle), (0, middle + size), (-size, middle), (0, collar)]
        ribbon(form, "bow", corners, [thick] * 5, 1.4 * thick)
    else:
        form.drum("bow", (0, middle, 0), size, height=1.3 * thick)
        for a in np.radians([0, 90, 180, 270] if rng.random() < 0.6 else [90, 210, 330]):
            at = (size * 0.5 * np.cos(a), middle + size * 0.5 * np.sin(a), 0)
            form.drum("bow", at, size * 0.27, height=20, cut=True)
    form.rod("stem", (0, collar, 0), (0, bottom, 0), thick, thick * vary(rng, 0.9, 0.08))
    if rng.random() < 0.6:
        form.rod("stem", (0, collar - k, 0), (0, collar - 5 * k, 0), thick * 1.2,
                 ridges=(thick * 0.22, 2))  # fmt: skip
    hollow = rng.random() < 0.4
    if hollow:
        form.rod("stem", (0, bottom - 4 * k, 0), (0, bottom + 6 * k, 0), thick * 0.55, cut=True)
    _key_bit(form, rng, k, thick, bottom + (3.5 if hollow else 5.5) * k)
    return form


def _key_bit(form: Form, rng: np.random.Generator, k: float, thick: float, low: float) -> None:
    """The bit: a plate beside the stem with two to four clefts from its edges."""
    tall, wide = vary(rng, 12, 0.12) * k, vary(rng, 11, 0.15) * k
    mid = (thick * 0.5 + wide / 2, low + tall / 2, 0)
    form.slab("bit", mid, tall, wide, thickness=thick * 1.3)
    cleft = 1.5 * k
    for i in range(int(rng.integers(1, 3))):
        at = (thick + wide * 0.62, low + tall * (0.3 + 0.38 * i), 0)
        form.slab("bit", at, cleft, wide * 0.75, thickness=30, cut=True)
    for y in (low, low + tall):
        if rng.random() < 0.7:
            x = thick + wide * float(rng.uniform(0.25, 0.55))
            form.slab("bit", (x, y, 0), tall * 0.5, cleft, thickness=30, cut=True)


@makes("lead-shot")
def lead_shot(rng: np.random.Generator) -> Form:
    """Lead ball with its casting seam and cut sprue; sometimes flattened or dented by use."""
    form = Form("lead-shot", finish=Finish((("lead", 1.0),), tinned=0, gilt=0))
    r = float(rng.uniform(4.5, 9.5))
    if rng.random() < 0.7:
        form.ball("ball", (0, 0, 0), r)
        form.ring("seam", (0, 0, 0), r * 0.96, r * 0.065, axis=(vary(rng, 0.4, 0.8), 0.2, 1))
    else:
        form.ball("ball", (0, 0, 0), (r * 1.06, r * vary(rng, 1, 0.04), r * vary(rng, 0.92, 0.04)))
    sprue = rng.random()
    if sprue < 0.75:
        a = rng.uniform(0.2, 1.2)
        way = np.array([np.cos(a) * 0.6, np.sin(a), 0.35])
        way /= np.linalg.norm(way)
        form.drum("sprue", way * r * 0.95, r * 0.24, r * 0.21, height=r * 0.24, axis=way)
    if rng.random() < 0.45:
        way = np.array([rng.normal(), rng.normal(), 0.8 + abs(rng.normal())])
        way /= np.linalg.norm(way)
        depth = float(rng.uniform(0.72, 0.92))
        form.slab("ball", way * r * (depth + 1), 5 * r, 5 * r, thickness=2 * r, axis=way, cut=True)
    for _ in range(max(0, int(rng.integers(-2, 4)))):
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        dent = r * float(rng.uniform(0.15, 0.32))
        turn = float(rng.uniform(0, 180))
        form.ball("ball", way * (r + dent * 0.65), (dent, dent * 1.6, dent), turn=turn, cut=True)
    return form


@makes("short-cross-penny")
def short_cross_penny(rng: np.random.Generator) -> Form:
    """Thin silver coin: crowned face and sceptre; behind, a voided cross inside the inner
    circle with four pellets in each angle. Often cut into halves and quarters."""
    form = Form("short-cross-penny", finish=Finish((("silver", 1.0),), tinned=0, gilt=0))
    r = vary(rng, 9.3, 0.03)
    form.drum("flan", (0, 0, 0.45), r, height=vary(rng, 0.9, 0.1), bevel=0.25)
    if rng.random() < 0.6:
        a = rng.uniform(0, 2 * np.pi)
        out = np.array([np.cos(a), np.sin(a), 0])
        form.slab("flan", out * (r + 2.6), 9, 6, thickness=8, turn=float(np.degrees(a)), cut=True)
    tilt = float(rng.uniform(0, 360))
    cut = rng.random()
    for i in range(1 if cut < 0.12 else 2 if cut < 0.2 else 0):
        a = np.radians(90 * i)
        form.slab("flan", (-15 * np.cos(a), -15 * np.sin(a), 0), 60, 30, thickness=9,
                  turn=90.0 * i, cut=True)  # fmt: skip
    inner = r * vary(rng, 0.6, 0.03)
    _crowned_face(form.front, rng, inner)
    arms = form.back.layer(4, mirror=True)
    form.back.line((0.62, 0.62), (0.62, inner * 0.88), 0.5, 0.4, layer=arms)
    form.back.line((0, inner * 0.9), (1.0, inner * 0.9), 0.7, 0.4, layer=arms)
    form.back.dot((0, 0), 0.45, 0.4)
    for d, off in ((inner * 0.34, 0.0), (inner * 0.66, 0.0), (inner * 0.5, 0.75)):
        c = d / np.sqrt(2) * 1.15
        form.back.dot((c - off * 0.7, c + off * 0.7), 0.5, 0.4, layer=arms)
    for face in (form.front, form.back):
        _legend(face, rng, inner, r, tilt)
    return form


def _crowned_face(front: Relief, rng: np.random.Generator, inner: float) -> None:
    """Facing head: crown of a pearled band with a cross, curls, eyes, nose, beard; sceptre."""
    k = inner / 5.6
    face = front.layer(1, mirror=True)
    front.path([(0, 3.0 * k), (2.6 * k, 3.0 * k)], 0.6, 0.4, layer=face)
    for x in (0.0, 1.2, 2.4):
        front.dot((x * k, 3.9 * k), 0.42 * k, 0.4, layer=face)
    front.line((0, 4 * k), (0, 5.1 * k), 0.5, 0.4, layer=face)
    front.path([(2.0 * k, 2.2 * k), (1.9 * k, -1 * k), (1 * k, -3 * k), (0, -3.6 * k)], 0.5, 0.35,
               layer=face)  # fmt: skip
    front.circle((0.9 * k, 1.2 * k), 0.5 * k, 0.35, 0.35, layer=face)
    front.line((0, 1.6 * k), (0, -0.6 * k), 0.35, 0.4, end_width=0.8, layer=face)
    front.line((0, -1.7 * k), (0.8 * k, -1.6 * k), 0.4, 0.35, layer=face)
    curls = int(rng.integers(2, 4))
    for i in range(curls):
        front.circle((3.0 * k, (1.9 - 1.5 * i) * k), 0.55 * k, 0.4, 0.4, layer=face)
    for i in range(4):
        front.dot((0.55 * i * k, (-3.9 + 0.35 * i) * k), 0.28, 0.35, layer=face)
    front.line((-4.4 * k, -3.2 * k), (-4.4 * k, 2.2 * k), 0.4, 0.4)
    for dx, dy in ((0, 0.8), (0.6, 0), (-0.6, 0), (0, -0.6)):
        front.dot(((-4.4 + dx) * k, (2.8 + dy) * k), 0.3, 0.4)


def _legend(face: Relief, rng: np.random.Generator, inner: float, r: float, tilt: float) -> None:
    """Pearled circles with worn letters between them, a small cross where they begin."""
    pearls = face.layer(int(rng.integers(34, 44)))
    face.dot((0, inner), 0.28, 0.35, layer=pearls)
    face.dot((0, r - 0.5), 0.3, 0.3, layer=pearls)
    letters = face.layer(int(rng.integers(5, 7)))
    low, high = inner + 0.6, r - 1.1
    for a in (-0.42, -0.14, 0.14, 0.42):
        way, across = np.array([np.sin(a), np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
        shape = rng.integers(4)
        face.line(way * low, way * high, 0.5, 0.35, layer=letters)
        if shape == 0:
            face.line(way * low + across * 0.9, way * high + across * 0.9, 0.5, 0.35, layer=letters)
        elif shape == 1:
            face.line(way * high, way * low + across * 1.0, 0.45, 0.35, layer=letters)
        elif shape == 2:
            for t in (0.0, 0.5, 1.0):
                at = way * (low + t * (high - low))
                face.line(at, at + across * 0.8, 0.4, 0.35, layer=letters)
    a = np.radians(tilt)
    at = np.array([np.sin(a), np.cos(a)]) * (low + high) / 2
    for arm in (np.array([0.7, 0]), np.array([0, 0.7])):
        face.line(at - arm, at + arm, 0.45, 0.4)


@makes("modern-replica")
def modern_replica(rng: np.random.Generator) -> Form:
    """A modern brooch: a crisp copy of an old one, or a costume bar, wreath, bow or flower;
    behind it always a tube hinge, a drawn-wire pin and a catch with a turning roller."""
    copied = rng.random() < 0.35
    if copied:
        makers = (plate.dragonesque, plate.umbonate_disc, plate.trefoil, plate.saucer,
                  plate.lozenge_plate, long.ansate, long.great_square_headed)  # fmt: skip
        form = makers[int(rng.integers(len(makers)))](rng)
        fittings = ("pin", "spring", "catch", "lug", "loop")
        form.solids = [s for s in form.solids if s.part not in fittings]
    else:
        form = _costume(rng)
    form.name = "modern-replica"
    metals = (("gold", 0.4), ("copper alloy", 0.3), ("silver", 0.3))
    form.finish = Finish(metals, tinned=0.3, gilt=0.4)
    low, high = form.bounds()
    across = not copied or rng.random() < 0.4
    reach = 0.3 * float((high - low)[0 if across else 1])
    _safety_catch(form, rng, min(reach, 15.0), across)
    if rng.random() < 0.4:
        form.back.line((-2.5, 4), (2.5, 4), 1.6, 0.35)
        form.back.line((-2, 4), (2, 4), 0.6, -0.35)
    return form


def _costume(rng: np.random.Generator) -> Form:
    """The front of a costume brooch: bar with stones, wreath, ribbon bow, or flower."""
    form = Form("costume")
    kind = rng.integers(4)
    r = vary(rng, 15, 0.15)
    if kind == 0:
        form.slab("front", (0, 0, 0.8), 5.5, 2.6 * r, thickness=1.6, bevel=0.5)
        for i in (-1, 0, 1):
            form.ball("stone inlay", (i * r * 0.75, 0, 1.6), (2.4, 2.0, 1.6))
        form.front.line((-1.2 * r, 0), (1.2 * r, 0), 0.6, -0.3)
    elif kind == 1:
        form.ring("front", (0, 0, 1.2), r, 1.3, flat=0.9)
        leaves = form.front.layer(int(rng.integers(10, 16)), mirror=True)
        form.front.line((0, r), (2.4, r + 1.5), 1.6, 0.7, layer=leaves)
        for i in range(6):
            a = np.pi * i / 3
            form.ball("stone inlay", (r * np.cos(a), r * np.sin(a), 2.0), 1.7)
        form.slab("front", (0, 0, 0.5), 3, 2 * r, thickness=1)
    elif kind == 2:
        for x in (-1, 1):
            form.slab("front", (x * r * 0.6, 1, 1), r * 1.1, 3.5, 11, thickness=2, turn=-75 * x)
            form.slab("front", (x * 4.5, -7, 0.8), 13, 6, 3, thickness=1.4, turn=25 * x)
        form.ball("front", (0, 0, 1.8), (3.4, 3, 2.2))
        sides = form.front.layer(1, mirror=True)
        for y in (-3, 1, 5):
            form.front.line((3, 0.4 * y), (1.1 * r, y), 0.6, 0.4, layer=sides)
    else:
        petals = int(rng.integers(5, 8))
        for i in range(petals):
            a = 2 * np.pi * i / petals
            form.ball("front", (0.55 * r * np.sin(a), 0.55 * r * np.cos(a), 1.2),
                      (0.3 * r, 0.5 * r, 1.5), turn=-float(np.degrees(a)))  # fmt: skip
        form.ball("stone inlay", (0, 0, 2.5), (3.5, 3.5, 2.4))
        around = form.front.layer(petals, mirror=True)
        form.front.line((0, 0.3 * r), (0, 0.95 * r), 0.6, -0.4, layer=around)
        form.front.line((0, 0.5 * r), (0.17 * r, 0.8 * r), 0.4, -0.3, layer=around)
    return form


def _safety_catch(form: Form, rng: np.random.Generator, reach: float, across: bool) -> None:
    """Soldered plate, tube hinge, straight wire pin, C-catch with its roller and thumb-piece."""

    def at(along: float, aside: float, z: float) -> tuple[float, float, float]:
        return (along, aside, z) if across else (aside, along, z)

    tall, wide = (3.2, 2 * reach + 5) if across else (2 * reach + 5, 3.2)
    form.slab("bar", (0, 0, -0.3), tall, wide, thickness=0.8)
    form.rod("tube", at(-reach, -2.0, -1.5), at(-reach, 2.0, -1.5), 1.1)
    form.rod("needle", at(-reach, 0, -2.2), at(reach + 2.5, 0, -2.4), 0.5, 0.35)
    facing = (0.0, 1.0, 0.0) if not across else (1.0, 0.0, 0.0)
    form.ring("safety", at(reach, 0, -2.2), 1.5, 0.6, gap=60, gap_at=float(rng.choice([0, 180])),
              axis=facing)  # fmt: skip
    form.rod("safety", at(reach, 1.3, -2.4), at(reach, 3.2, -2.8), 0.5)
