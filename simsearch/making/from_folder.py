"""Planning an import from a folder of photos named or foldered by type.

The rules, so that a folder can be prepared for them:

1. **Type.** The innermost folder whose name is a type's id, name or other name (also in the
   plural) gives the type: ``Knee brooches/...``. Without such a folder the file's name must
   begin with a type: ``knee_03_back.jpg``, ``Hod Hill 2.png``. Case, accents, spaces, hyphens
   and underscores do not count. If a folder and a file's name say different types, the photo is
   left out.
2. **Object.** A folder inside a type's folder is one object: all photos in ``knee/03/`` show
   it. Else what stands in the file's name between the type and the view is the object:
   ``knee_03_back.jpg`` and ``knee/03-front.jpg`` both show ``knee-03``. What follows the view is
   only the number of the shot (``03_back_2.jpg``). With the view first, what follows it is the
   object (``back_03.jpg``). A name that holds nothing else, as ``knee/back.jpg``, belongs to one
   object per type, named after it.
3. **View.** front (also face, obverse), back (rear, reverse), side (profile), detail (closeup,
   macro), in the file's name or as the name of a folder inside the type's folder. Else it is
   the default, and one line says for how many photos.
4. **Completeness.** complete or whole; fragment, frag, broken or incomplete. Else the default.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from simsearch.making.names import (
    COMPLETENESS_WORDS,
    VIEW_WORDS,
    TypeNames,
    either,
    slug,
    squeezed,
    tokens,
)
from simsearch.making.plan import Defaults, Incoming, Plan, make_plan, row_is_right
from simsearch.sets.problems import Problem
from simsearch.sets.reference_set import ReferenceSet

_FOR_ALL = "for all photos"


def plan_from_folder(
    reference: ReferenceSet,
    folder: Path | str,
    defaults: Defaults,
    *,
    open_photos: bool = False,
    again: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Plan:
    """Plan to bring in every photo of a folder; nothing is written.

    ``defaults`` gives what names cannot say, above all creator, licence and source. The other
    arguments are those of ``make_plan``. Raises ``PhotoError`` when there is no such folder.
    """
    from simsearch.photo import list_photos

    root = Path(folder)
    paths = list_photos(root)
    problems: list[Problem] = []
    # What is wrong with the defaults is told once and not for each photo.
    example = Incoming(root, defaults.row(type="any"), defaults.private(), _FOR_ALL)
    if not row_is_right(example, {"any"}, problems):
        return Plan((), (), tuple(problems))
    names = TypeNames(reference.types.values())
    unsaid: Counter[str] = Counter()
    wanted = []
    for path in paths:
        where = path.relative_to(root).as_posix()
        read = _read_names(path.relative_to(root), names)
        if isinstance(read, Problem):
            problems.append(read)
            continue
        unsaid.update(name for name in ("view", "completeness") if not getattr(read, name))
        row = defaults.row(
            type=read.type,
            specimen=read.specimen,
            view=read.view,
            completeness=read.completeness,
        )
        wanted.append(Incoming(path, row, defaults.private(), where))
    problems += _taken_as(unsaid, defaults)
    if not paths:
        todo = "Photos end in .jpg, .png, .webp, .tif, .heic or .bmp."
        problems.append(Problem("error", str(root), "There are no photos in it.", todo))
    return make_plan(
        reference, wanted, problems, open_photos=open_photos, again=again, progress=progress
    )


@dataclass(frozen=True)
class _Read:
    """What the names of a file and its folders say; empty where they say nothing."""

    type: str
    specimen: str
    view: str
    completeness: str


def _read_names(path: Path, names: TypeNames) -> _Read | Problem:
    where = path.as_posix()
    words = tokens(path.stem)
    in_name, count = names.beginning(words)
    foldered, inside = _folder_type(path.parts[:-1], names)
    if foldered and in_name and not foldered & in_name:
        what = f"The folder says {either(sorted(foldered))}, the name {either(sorted(in_name))}."
        return Problem("error", where, what, "Rename the file or move it.")
    found = (foldered & in_name) or foldered or in_name
    if not found:
        named = " ".join(word for word in words if word.isalpha())
        hint = names.hint(path.parts[-2] if len(path.parts) > 1 else named)
        return Problem("error", where, "Neither folder nor name says a type of the set.", hint)
    if len(found) > 1:
        what = f"The name could mean {either(sorted(found))}."
        return Problem("error", where, what, "Use the type's id in the name of file or folder.")
    (type_id,) = found
    return _read_rest(type_id, inside, words[count:] if in_name else words)


def _folder_type(
    folders: Sequence[str], names: TypeNames
) -> tuple[frozenset[str], tuple[str, ...]]:
    """Return the types that the innermost telling folder names, and the folders inside it."""
    for position in reversed(range(len(folders))):
        found = names.find(folders[position])
        if found:
            return found, tuple(folders[position + 1 :])
    return frozenset(), ()


def _read_rest(type_id: str, inside: Sequence[str], words: Sequence[str]) -> _Read:
    view_folders = [VIEW_WORDS[squeezed(name)] for name in inside if squeezed(name) in VIEW_WORDS]
    objects = [name for name in inside if squeezed(name) not in VIEW_WORDS]
    completeness = _first(words, COMPLETENESS_WORDS)
    rest = [word for word in words if word not in COMPLETENESS_WORDS]
    view = _first(rest, VIEW_WORDS)
    if view:
        at = next(place for place, word in enumerate(rest) if word in VIEW_WORDS)
        rest = rest[:at] or rest[at + 1 :]
    named = "-".join(objects) if objects else "-".join(rest)
    specimen = slug(f"{type_id}-{named}") if named else type_id
    return _Read(type_id, specimen, view or "".join(view_folders[-1:]), completeness)


def _first(words: Sequence[str], meaning: Mapping[str, str]) -> str:
    return next((meaning[word] for word in words if word in meaning), "")


def _taken_as(unsaid: Mapping[str, int], defaults: Defaults) -> list[Problem]:
    told = []
    for name, count in unsaid.items():
        taken = defaults.cells()[name]
        what = f"{count} {'name does' if count == 1 else 'names do'} not say the {name}."
        todo = f"It is taken to be '{taken}'; correct what is not."
        told.append(Problem("warning", _FOR_ALL, what, todo))
    return told
