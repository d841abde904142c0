"""Packages import only what stands below them, so that none can grow into another."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import simsearch

ROOT = Path(simsearch.__file__).parent
LAYERS = (
    "cli",
    "commands",
    "terminal",
    "page",
    "practice",
    "sheets",
    "register",
    "measure",
    "care",
    "browse",
    "share",
    "bring",
    "making",
    "leads",
    "sets",
    "index",
    "encode",
    "photo",
    "law",
    "files",
    "errors",
)
# One upward import is meant: ReferenceSet.look() is how people start a search (see there).
ALLOWED_WHEN_CALLED = {("sets/reference_set.py", "leads")}


def imports(node: ast.AST, called: bool = False) -> Iterator[tuple[str, bool]]:
    """Yield (module, whether inside a function) for imports that run; types only do not."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
            continue
        inside = called or isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda))
        if isinstance(child, ast.ImportFrom) and child.level == 0:
            yield from ((f"{child.module}.{alias.name}", inside) for alias in child.names)
        elif isinstance(child, ast.Import):
            yield from ((alias.name, inside) for alias in child.names)
        else:
            yield from imports(child, inside)


def layer_of(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if parts[0] == "simsearch" and len(parts) > 1 else None


@pytest.mark.parametrize("layer", LAYERS)
def test_imports_point_down(layer: str) -> None:
    below = set(LAYERS[LAYERS.index(layer) :])
    folder = ROOT / layer
    files = sorted(folder.rglob("*.py")) if folder.is_dir() else [ROOT / f"{layer}.py"]
    for path in files:
        if not path.is_file():
            pytest.skip(f"there is no {layer} yet")
        name = path.relative_to(ROOT).as_posix()
        for module, called in imports(ast.parse(path.read_text("utf-8"))):
            target = layer_of(module)
            if target in ("open_set", "ReferenceSet", "__version__") or target is None:
                continue  # the package's own public names
            allowed = target in below or (called and (name, target) in ALLOWED_WHEN_CALLED)
            assert allowed, f"{name} imports {module}"


def test_the_renderer_and_the_training_are_never_imported_at_run_time() -> None:
    workshop = ("synthetic", "evaluation")
    for path in sorted(ROOT.rglob("*.py")):
        if path.relative_to(ROOT).parts[0] in workshop:
            continue
        for module, _ in imports(ast.parse(path.read_text("utf-8"))):
            assert layer_of(module) not in workshop, f"{path.relative_to(ROOT)} imports {module}"
