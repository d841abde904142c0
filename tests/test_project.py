"""The project's own rules: sizes, documents that keep up with the code, the way it is tested."""

from __future__ import annotations

import ast
import re
import stat
import sys
import tomllib
from pathlib import Path

import pytest

import simsearch
from tests.test_import_order import LAYERS

ROOT = Path(__file__).resolve().parents[1]
CODE = sorted(
    path for part in ("simsearch", "scripts", "tests") for path in (ROOT / part).rglob("*.py")
)
DOCUMENTS = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "simsearch/encode/MODEL_CARD.md")
MAX_FUNCTION_LINES, MAX_MODULE_LINES = 80, 450
_REPOSITORY_PATH = re.compile(r"`((?:simsearch|scripts|tests|reference_index|\.ci)/[\w./-]*\w)`")

_SCRIPT = re.compile(r"\bscripts/\w+\.py\b")


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def shell_commands(name: str) -> list[str]:
    blocks = re.findall(r"^```sh\n(.*?)^```$", text_of(name), re.MULTILINE | re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line]


@pytest.mark.parametrize("path", CODE, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_modules_and_functions_stay_small(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MAX_MODULE_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            assert lines <= MAX_FUNCTION_LINES, f"{node.name} has {lines} lines"


def test_nothing_that_runs_for_users_relies_on_assert() -> None:
    for path in sorted((ROOT / "simsearch").rglob("*.py")):
        found = [
            n.lineno
            for n in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(n, ast.Assert)
        ]
        assert not found, f"{path.relative_to(ROOT)}: assert in line {found}"


@pytest.mark.parametrize("name", DOCUMENTS)
def test_documents_have_no_open_places(name: str) -> None:
    assert "@@" not in text_of(name)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_documents_name_files_that_exist(name: str) -> None:
    named = _REPOSITORY_PATH.findall(text_of(name)) + _SCRIPT.findall(text_of(name))
    missing = [path for path in named if not (ROOT / path).exists()]
    assert not missing


def test_the_readme_stays_short() -> None:
    assert len(text_of("README.md").splitlines()) <= 150


def test_ci_runs_the_commands_of_the_readme() -> None:
    install_and_test = [line for line in shell_commands("README.md") if "pytest" in line]
    assert len(install_and_test) == 1
    assert install_and_test[0] in text_of(".ci/run").splitlines()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no executable bit")
def test_ci_can_be_run() -> None:
    assert (ROOT / ".ci/run").stat().st_mode & stat.S_IXUSR


def test_the_version_is_the_same_everywhere() -> None:
    project = tomllib.loads(text_of("pyproject.toml"))["project"]
    assert project["version"] == simsearch.__version__
    assert f"## [{simsearch.__version__}]" in text_of("CHANGELOG.md")


def test_developers_learn_the_import_order_as_it_is_tested() -> None:
    assert " -> ".join(LAYERS) in text_of("DEVELOPERS.md")
