"""What two sets make together: one pass over both, asking for a choice wherever they disagree.

Nothing of ours is overwritten without a choice. Photos are known again by the hash of their
file, objects by their photos. The label that does not come into force is kept as an opinion,
whichever side it is from. Look-alikes of a type that both sets have are those of both, because
each names types of its own set, and every pair has to point both ways.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from simsearch.sets.dates import parse_edtf
from simsearch.sets.opinions import OPINION_COLUMNS
from simsearch.share.choices import BOTH, OTHER, OURS, SAME, THEIRS, Chooser
from simsearch.share.tables import COLUMNS, OPINIONS, PHOTOS, PRIVATE, SOURCES, TYPES, read_table

Row = dict[str, str]
_LABEL = ("type", "labelled_by", "label_basis", "labelled_on")
_CREDIT = ("creator", "licence")
_DETAILS = ("view", "completeness", "condition", "kind", "source", "note")
_DATES = ("date_edtf", "date_note")


@dataclass
class Side:
    """One set's tables as rows of text; ours are changed in place."""

    tables: dict[str, list[Row]]

    @staticmethod
    def read(folder: Path) -> Side:
        """Read every table of a set that is known to open."""
        return Side({file: read_table(folder, file) for file in COLUMNS})

    def specimens(self) -> dict[str, list[Row]]:
        """Return the photo rows of each object."""
        found: dict[str, list[Row]] = {}
        for row in self.tables[PHOTOS]:
            found.setdefault(row["specimen"], []).append(row)
        return found


@dataclass
class Merging:
    """Two sets on the way to being one; ``run`` does it, on rows only."""

    ours: Side
    theirs: Side
    chooser: Chooser
    #: Their photo id to the id it has among ours; photos left out are not in it.
    ids: dict[str, str] = field(default_factory=dict)
    #: Their rows that come in, by the id they get.
    incoming: dict[str, Row] = field(default_factory=dict)
    #: Our rows that make room.
    replaced: list[Row] = field(default_factory=list)
    new_types: list[str] = field(default_factory=list)
    new_sources: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    takes_words: bool = False
    _objects: dict[str, str] = field(default_factory=dict)
    _opinions: list[Row] = field(default_factory=list)

    def run(self) -> None:
        """Bring their rows into ours."""
        self._sources()
        self._types()
        self._photos()
        self._specimens()
        self._labels()
        self._known_photos()
        self._add_rows()
        self._add_opinions()
        self._private()

    @property
    def known(self) -> int:
        """How many of their photos we have already."""
        return len(self.ids) - len(self.incoming)

    @property
    def opinions_added(self) -> int:
        """How many opinions came in."""
        return len(self._opinions)

    def _sources(self) -> None:
        mine = {row["id"]: row for row in self.ours.tables[SOURCES]}
        for row in self.theirs.tables[SOURCES]:
            own = mine.get(row["id"])
            if own is None:
                self.ours.tables[SOURCES].append(row)
                self.new_sources.append(row["id"])
            elif own != row:
                what = f"both sets have this source, with other words in {_differing(own, row)}"
                if self.chooser.choose("source", row["id"], what, (OURS, THEIRS)) == THEIRS:
                    own.update(row)
                    self.takes_words = True

    def _types(self) -> None:
        mine = {row["id"]: row for row in self.ours.tables[TYPES]}
        for row in self.theirs.tables[TYPES]:
            own = mine.get(row["id"])
            if own is None:
                self.ours.tables[TYPES].append(dict(row))
                self.new_types.append(row["id"])
                continue
            links = _links(own), _links(row)
            chosen = OURS
            shared = links[0].keys() & links[1].keys()
            clash = any(links[0][name] != links[1][name] for name in shared)
            if clash or _differing(own, row, {"look_alikes"}):
                what = _type_words(own, row, clash)
                chosen = self.chooser.choose("type", row["id"], what, (OURS, THEIRS))
            if chosen == THEIRS:
                own.update(row)
                links = links[1], links[0]
                self.takes_words = True
            united = links[1] | links[0]
            if own["look_alikes"] and united.keys() == _links(own).keys():
                continue  # as it was written
            own["look_alikes"] = " | ".join(f"{name}: {why}" for name, why in united.items())

    def _photos(self) -> None:
        by_hash = {row["sha256"]: row for row in reversed(self.ours.tables[PHOTOS])}
        by_id = {row["id"]: row for row in self.ours.tables[PHOTOS]}
        for row in self.theirs.tables[PHOTOS]:
            if row["sha256"] in by_hash:
                self.ids[row["id"]] = by_hash[row["sha256"]]["id"]
        known = set(self.ids.values())
        taken = set(by_id) | {row["id"] for row in self.theirs.tables[PHOTOS]}
        for row in self.theirs.tables[PHOTOS]:
            if row["id"] in self.ids:
                continue
            new_id = row["id"]
            if new_id in by_id:
                # A photo of ours that is one of theirs too, under another id, has to stay.
                options = (BOTH, OURS) if new_id in known else (BOTH, OURS, THEIRS)
                what = "both sets have a photo of this id, and they are different pictures"
                chosen = self.chooser.choose("photo", new_id, what, options)
                if chosen == OURS:
                    continue
                if chosen == THEIRS:
                    self.replaced.append(by_id[new_id])
                    self.ours.tables[PHOTOS].remove(by_id[new_id])
                else:
                    new_id = _free_name(new_id, taken)
                    taken.add(new_id)
            self.ids[row["id"]] = new_id
            self.incoming[new_id] = dict(row) | {"id": new_id}

    def _specimens(self) -> None:
        """Find out which of their objects are objects of ours."""
        mine, other = self.ours.specimens(), self.theirs.specimens()
        by_id = {row["id"]: row for row in self.ours.tables[PHOTOS]}
        taken = set(mine) | set(other)
        for name, rows in other.items():
            ids = [self.ids[row["id"]] for row in rows if row["id"] in self.ids]
            seen = dict.fromkeys(by_id[id_]["specimen"] for id_ in ids if id_ in by_id)
            if seen:
                same_type = [own for own in seen if mine[own][0]["type"] == rows[0]["type"]]
                self._objects[name] = (same_type or list(seen))[0]
                if self._objects[name] != name:
                    self.notes.append(
                        f"Their object '{name}' is our '{self._objects[name]}': they share a photo."
                    )
            elif ids and name in mine:
                self._objects[name] = self._same_name(name, mine[name][0], rows[0], taken)
            else:
                self._objects[name] = name

    def _same_name(self, name: str, own: Row, row: Row, taken: set[str]) -> str:
        what = "both sets have an object of this name, and no photo of it in common"
        options: tuple[str, ...] = (OTHER, SAME)
        if own["type"] != row["type"]:
            what += f"; ours is a '{own['type']}', theirs a '{row['type']}'"
            options = (OTHER,)
        if self.chooser.choose("specimen", name, what, options) == SAME:
            return name
        new = _free_name(name, taken)
        taken.add(new)
        return new

    def _labels(self) -> None:
        """Settle objects that the two sets call different types; one object has one type."""
        mine = self.ours.specimens()
        labels: dict[str, list[Row]] = {}
        for name, rows in self.theirs.specimens().items():
            own = self._objects[name]
            comes = any(row["id"] in self.ids for row in rows)
            if comes and own in mine and rows[0]["type"] != mine[own][0]["type"]:
                labels.setdefault(own, []).append(rows[0])
        for own, rows in labels.items():
            said = mine[own][0]
            what = f"ours says {_label_words(said)}; theirs {_label_words(rows[0])}"
            agreed = len({row["type"] for row in rows}) == 1
            options = (OURS, THEIRS) if agreed else (OURS,)
            chosen = self.chooser.choose("label", own, what, options)
            if chosen == THEIRS:
                label = {column: rows[0][column] for column in _LABEL}
                for photo in mine[own]:
                    self._opinions.append(_opinion(photo))
                    photo.update(label)
                    self._opinions.append(_opinion(photo))

    def _known_photos(self) -> None:
        """Settle rows about one picture; where the labels differ, theirs becomes an opinion."""
        by_id = {row["id"]: row for row in self.ours.tables[PHOTOS]}
        for row in self.theirs.tables[PHOTOS]:
            own = by_id.get(self.ids.get(row["id"], ""))
            if own is None:
                continue
            if _differing(own, row, keep=_CREDIT):
                what = f"ours: {_credit_words(own)}; theirs: {_credit_words(row)}"
                if self.chooser.choose("licence", own["id"], what, (OURS, THEIRS)) == THEIRS:
                    own.update({column: row[column] for column in _CREDIT})
            details = _differing(own, row, keep=_DETAILS)
            if details:
                what = f"the rows of one picture differ in {details}"
                if self.chooser.choose("details", own["id"], what, (OURS, THEIRS)) == THEIRS:
                    own.update({column: row[column] for column in _DETAILS})
            if any(own[column] != row[column] for column in _LABEL):
                moved = row | {"id": own["id"], "specimen": own["specimen"]}
                self._opinions += [_opinion(own), _opinion(moved)]

    def _add_rows(self) -> None:
        mine = {name: rows[0] for name, rows in self.ours.specimens().items()}
        for row in self.incoming.values():
            row["specimen"] = self._objects[row["specimen"]]
            own = mine.get(row["specimen"])
            if own is not None and own["type"] != row["type"]:
                self._opinions.append(_opinion(row))
                row.update({column: own[column] for column in _LABEL})
            self.ours.tables[PHOTOS].append(row)

    def _add_opinions(self) -> None:
        gone = {row["id"] for row in self.replaced}
        kept = [row for row in self.ours.tables[OPINIONS] if row["photo"] not in gone]
        specimens = {row["id"]: row["specimen"] for row in self.ours.tables[PHOTOS]}
        for row in self.theirs.tables[OPINIONS]:
            own = self.ids.get(row["photo"])
            if own is not None:
                self._opinions.append(row | {"photo": own, "specimen": specimens[own]})
        seen = {_told(row) for row in kept}
        fresh = []
        for row in self._opinions:
            if _told(row) not in seen:
                seen.add(_told(row))
                fresh.append(row)
        self._opinions = fresh
        self.ours.tables[OPINIONS] = kept + fresh

    def _private(self) -> None:
        gone = {row["id"] for row in self.replaced}
        kept = [row for row in self.ours.tables[PRIVATE] if row["photo"] not in gone]
        mine = {row["photo"]: row for row in kept}
        for row in self.theirs.tables[PRIVATE]:
            if row["photo"] not in self.ids:
                continue
            moved = row | {"photo": self.ids[row["photo"]]}
            own = mine.get(moved["photo"])
            if own is None:
                kept.append(moved)
            elif own != moved:
                what = f"the private rows differ in {_differing(own, moved)}"
                if self.chooser.choose("private", own["photo"], what, (OURS, THEIRS)) == THEIRS:
                    own.update(moved)
        self.ours.tables[PRIVATE] = kept


def _differing(
    own: Mapping[str, str],
    row: Mapping[str, str],
    leave_out: Container[str] = (),
    keep: Container[str] | None = None,
) -> str:
    """Name the columns in which two rows differ; empty when they do not."""
    columns = (c for c in own if c not in leave_out and (keep is None or c in keep))
    return ", ".join(column for column in columns if own[column] != row[column])


def _links(row: Row) -> dict[str, str]:
    items = (item.partition(":") for item in row["look_alikes"].split("|") if item.strip())
    return {name.strip(): why.strip() for name, _, why in items}


def _type_words(own: Row, row: Row, clash: bool) -> str:
    parts: list[str] = []
    if any(own[column] != row[column] for column in _DATES):
        dates = [parse_edtf(side["date_edtf"]).words() for side in (own, row)]
        same = " (the years agree, the note differs)" if dates[0] == dates[1] else ""
        parts.append(f"dates: ours {dates[0]}, theirs {dates[1]}{same}")
    words = _differing(own, row, {*_DATES, "look_alikes"})
    listed = [words] if words else []
    listed += ["look_alikes"] if clash else []
    return "; ".join([*parts, *([f"other words in {', '.join(listed)}"] if listed else [])])


def _label_words(row: Row) -> str:
    return f"'{row['type']}' ({row['labelled_by']}, {row['label_basis']})"


def _credit_words(row: Row) -> str:
    return f"{row['creator']}, {row['licence']}"


def _opinion(row: Row) -> Row:
    return {
        "photo": row["id"],
        "specimen": row["specimen"],
        "type": row["type"],
        "by": row["labelled_by"],
        "on": row["labelled_on"],
        "authority": row["label_basis"],
        "note": "",
    }


def _told(row: Row) -> tuple[str, ...]:
    """What makes two opinions the same one; the object's name may have changed since."""
    return tuple(row[column] for column in OPINION_COLUMNS if column != "specimen")


def _free_name(name: str, taken: Container[str]) -> str:
    return next(new for new in _numbered(name) if new not in taken)


def _numbered(name: str) -> Iterator[str]:
    number = 2
    while True:
        yield f"{name}-{number}"
        number += 1
