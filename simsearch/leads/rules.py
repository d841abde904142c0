"""Every number by which observations move the odds, and where it comes from.

There are no openly licensed, labelled finds with measurements at hand from which these could be
fitted. Most are therefore our judgement, chosen so that a mistaken observation cannot sink the
right lead, and said to be so. ``RULES`` and the two tables of usual sizes are all there is:
``likelihood`` and ``refine`` hold no numbers of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

JUDGEMENT, PRACTICE, FITTED, PHYSICS = "our judgement", "common practice", "fitted", "physics"


@dataclass(frozen=True)
class Rule:
    """One parameter: its value, where it comes from, and what it does."""

    value: float
    basis: str
    says: str


RULES: Mapping[str, Rule] = {
    "slip": Rule(
        0.05, JUDGEMENT,
        "Share of measurements taken to say nothing of the type: slips, odd pieces, wrong tables. "
        "No measurement makes a type less likely by more than this factor.",
    ),
    "range share": Rule(
        0.90, JUDGEMENT,
        "Share of a type's whole objects within its range of lengths; the rest lie as often "
        "above as below. Lengths are spread log-normally, as sizes of made things mostly are.",
    ),
    "least spread": Rule(
        0.08, JUDGEMENT,
        "Smallest spread of a type's lengths (standard deviation of the logarithm): wear, "
        "corrosion and bending change any object by some hundredths.",
    ),
    "other share": Rule(
        0.20, JUDGEMENT,
        "Share of finds of unknown type that are not sized, made or dated like the set's types.",
    ),
    "other spread": Rule(
        1.00, JUDGEMENT,
        "How widely those spread in size (standard deviation of the logarithm).",
    ),
    "half, at most": Rule(
        2.50, JUDGEMENT,
        "With half or more left, the whole was hardly more than this many times as long.",
    ),
    "less than half, at least": Rule(
        1.60, JUDGEMENT,
        "With less than half left, the whole was hardly less than this many times as long.",
    ),
    "by eye": Rule(
        0.20, JUDGEMENT,
        "How far such an estimate by eye is off (standard deviation of the logarithm).",
    ),
    "usual sizes share": Rule(
        0.80, JUDGEMENT,
        "Share of whole objects within the usual thickness or weight of their group of types; "
        "less than for lengths, because these are ours and stand for many types at once.",
    ),
    "slip of usual sizes": Rule(
        0.15, JUDGEMENT, "As 'slip', for thickness and weight, which are known by group only.",
    ),
    "material misjudged": Rule(
        0.10, JUDGEMENT,
        "Share of materials named wrongly: corrosion hides silver, tin alloy looks like lead.",
    ),
    "sometimes": Rule(
        0.25, JUDGEMENT, "How often a material is met that a type has 'sometimes', against its "
        "first material.",
    ),
    "rarely": Rule(0.10, JUDGEMENT, "The same for 'rarely'."),
    "fixing misjudged": Rule(
        0.05, JUDGEMENT, "Share of pin fixings named wrongly; see also the table FIXING."
    ),
    "fixing broken away": Rule(
        0.50, JUDGEMENT,
        "On a broken object, the share of types' fixings that broke away and are seen as none.",
    ),
    "treatment seen": Rule(
        0.60, JUDGEMENT,
        "How often tinning, gilding, enamel or inlay that a type has can still be seen.",
    ),
    "treatment elsewhere": Rule(
        0.03, JUDGEMENT, "How often each is seen on a type for which it is not named."
    ),
    "treatment misjudged": Rule(0.10, JUDGEMENT, "Share of surfaces named wrongly."),
    "nearby counts": Rule(
        0.50, JUDGEMENT,
        "How often a find belongs with what lies near it; plough soil holds all ages. No type is "
        "made less likely by more than the rest of one.",
    ),
    "nearby, least usual": Rule(
        0.20, JUDGEMENT, "Smallest share of a type's years that is taken as usual within the dates "
        "of things nearby, so that they never speak for a type by more than three times.",
    ),
    "nearby margin": Rule(
        25.0, JUDGEMENT, "Years by which things nearby may be older or younger than the find."
    ),
    "answer as described": Rule(
        0.85, JUDGEMENT, "How often a feature that tells two look-alikes apart can be seen on the "
        "type that has it.",
    ),
    "answer against description": Rule(
        0.10, JUDGEMENT, "How often it is thought to be seen on the type that has not."
    ),
    "fragment of a whole": Rule(
        0.60, JUDGEMENT, "How long a broken object is taken to be, against the whole, when asking "
        "beforehand what measuring it would tell.",
    ),
    "fade of circa": Rule(
        25.0, PRACTICE,
        "Years to either side over which an end that is 'about' fades, or a quarter of the range "
        "where that is less; as the date chart draws it.",
    ),
    "open start": Rule(
        50.0, JUDGEMENT, "Years before its known end at which a range with an open start begins; "
        "as the date chart draws it.",
    ),
}  # fmt: skip

FIXING: Mapping[str, Mapping[str, float]] = {
    "sprung": {"sprung": 0.88, "hinged": 0.06, "none": 0.06},
    "hinged": {"sprung": 0.06, "hinged": 0.88, "none": 0.06},
    "sprung or hinged": {"sprung": 0.47, "hinged": 0.47, "none": 0.06},
    "free pin": {"sprung": 0.05, "hinged": 0.25, "none": 0.70},
    "none": {"sprung": 0.02, "hinged": 0.03, "none": 0.95},
}
"""What is seen as the fixing of a whole object, by the type's; our judgement. A free pin that
swings on its ring is easily called hinged. A type whose fixing is "other" is left where it is."""

GROUP_THICKNESS_MM: Mapping[str, tuple[float, float]] = {
    "bow brooch": (6, 30), "long brooch": (6, 30), "plate brooch": (2, 12),
    "disc brooch": (3, 14), "penannular brooch": (2, 8), "annular brooch": (1.5, 6),
    "buckle": (1.5, 8), "strap fitting": (1, 5), "pin": (2, 12), "key": (3, 25),
    "button": (2, 14), "coin": (0.6, 3.5), "weight and shot": (6, 25), "household": (6, 40),
}  # fmt: skip
"""Usual thickness (or depth) of whole objects by group, in mm; our judgement."""

GROUP_WEIGHT_G: Mapping[str, tuple[float, float]] = {
    "bow brooch": (3, 25), "long brooch": (10, 80), "plate brooch": (3, 15),
    "disc brooch": (3, 25), "penannular brooch": (2, 15), "annular brooch": (1, 15),
    "buckle": (2, 25), "strap fitting": (1, 12), "pin": (1, 10), "key": (5, 60),
    "button": (1, 12), "coin": (0.5, 5), "weight and shot": (5, 50), "household": (5, 80),
}  # fmt: skip
"""Usual weight of whole objects by group, in grams; our judgement."""

TYPE_WEIGHT_G: Mapping[str, tuple[tuple[float, float], str]] = {
    # A ball of pure lead is (pi / 6) d^3 at 11.34 g/cm^3: 10 mm weighs 5.9 g, 20 mm 47.5 g.
    "lead-shot": ((5.9, 47.5), PHYSICS),
    # The sterling penny of 22.5 troy grains is 1.46 g; lost pieces are clipped and worn.
    "short-cross-penny": ((1.1, 1.5), "from memory"),
    "voided-long-cross-penny": ((1.1, 1.5), "from memory"),
}
"""Weights of single types where more is known than of their group, and where from."""

LENGTH_FROM_SET = "The type's range of lengths stands in the set's types.csv with its source."


def value(name: str) -> float:
    """Return a parameter by its name in ``RULES``."""
    return RULES[name].value


def table() -> list[tuple[str, float, str, str]]:
    """Every parameter as (name, value, basis, what it does), to show to people."""
    return [(name, rule.value, rule.basis, rule.says) for name, rule in RULES.items()]
