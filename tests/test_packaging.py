# SPDX-License-Identifier: GPL-3.0-or-later
"""What an installation contains: netlists, data, licence, entry point, and every library that is imported."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import packages_distributions
from itertools import chain
from pathlib import Path

import pytest

import cranksag

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "src" / "cranksag"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def _build(target: str, tree: Path, destination: Path) -> Path:
    command = [sys.executable, "-m", "hatchling", "build", "-t", target, "-d", str(destination)]
    subprocess.run(command, cwd=tree, check=True, capture_output=True, stdin=subprocess.DEVNULL)
    (built,) = destination.iterdir()
    return built


@pytest.fixture(scope="module")
def sdist_tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sdist, built from a copy of the tree and unpacked."""
    folder = tmp_path_factory.mktemp("sdist")
    tree = folder / "tree"
    tree.mkdir()
    for name in ("src", "circuits", "tests", ".ci"):
        shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
    for file in ROOT.iterdir():
        if file.is_file():
            shutil.copy(file, tree)
    built = _build("sdist", tree, folder / "built")
    (folder / "unpacked").mkdir()
    subprocess.run(["tar", "-xzf", str(built), "-C", str(folder / "unpacked")], check=True)
    (unpacked,) = (folder / "unpacked").iterdir()
    return unpacked


@pytest.fixture(scope="module")
def wheel(sdist_tree: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The files of the wheel that is built from the unpacked sdist, by path."""
    built = _build("wheel", sdist_tree, tmp_path_factory.mktemp("wheel") / "built")
    with zipfile.ZipFile(built) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _files(folder: Path) -> list[Path]:
    paths = (path for path in folder.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    return sorted(path.relative_to(folder) for path in paths)


def test_sdist_holds_the_netlists_and_the_tests(sdist_tree: Path) -> None:
    assert _files(ROOT / "circuits")
    for folder in ("circuits", "src", "tests", ".ci"):
        assert _files(sdist_tree / folder) == _files(ROOT / folder)
    for name in ("Makefile", "constraints.txt", "LICENSE", "README.md", "CHANGELOG.md", "CITATION.cff"):
        assert (sdist_tree / name).is_file()


def test_wheel_holds_every_netlist_unchanged(wheel: dict[str, bytes]) -> None:
    shipped = {name for name in wheel if name.startswith("cranksag/_circuits/")}
    assert shipped == {f"cranksag/_circuits/{path.as_posix()}" for path in _files(ROOT / "circuits")}
    for name in shipped:
        assert wheel[name] == (ROOT / "circuits" / name.removeprefix("cranksag/_circuits/")).read_bytes()


def test_wheel_holds_the_whole_package_and_nothing_else(wheel: dict[str, bytes]) -> None:
    expected = {f"cranksag/{path.as_posix()}" for path in _files(PACKAGE)}
    shipped = {n for n in wheel if ".dist-info/" not in n and not n.startswith("cranksag/_circuits/")}
    assert shipped == expected
    assert "cranksag/py.typed" in shipped


def test_wheel_says_its_licence_version_and_command(wheel: dict[str, bytes]) -> None:
    info = f"cranksag-{cranksag.__version__}.dist-info"
    assert "License-Expression: GPL-3.0-or-later" in wheel[f"{info}/METADATA"].decode()
    assert wheel[f"{info}/licenses/LICENSE"] == (ROOT / "LICENSE").read_bytes()
    assert "cranksag = cranksag.cli:main" in wheel[f"{info}/entry_points.txt"].decode()


def test_editable_install_uses_the_tree_itself() -> None:
    assert Path(cranksag.__file__).parent == PACKAGE
    assert not (PACKAGE / "_circuits").exists(), "a packaged copy here would hide an edited netlist"


def test_version_is_the_same_everywhere() -> None:
    assert f"\n## {cranksag.__version__}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert f"\nversion: {cranksag.__version__}\n" in (ROOT / "CITATION.cff").read_text(encoding="utf-8")


def _normalised(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def _requirement_names(requirements: list[str]) -> set[str]:
    return {_normalised(re.split(r"[\[<>=~! ;]", requirement)[0]) for requirement in requirements}


def _imported() -> set[str]:
    """The top-level names that the package imports, anywhere in it, less the standard library and itself."""
    names = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                names.add(node.module.split(".")[0])
    return names - set(sys.stdlib_module_names) - {"cranksag"}


def test_every_imported_library_is_declared() -> None:
    extras = PROJECT["optional-dependencies"]
    declared = _requirement_names([*PROJECT["dependencies"], *extras["dask"], *extras["parquet"]])
    providers = packages_distributions()
    provided_by = {name: {_normalised(p) for p in providers.get(name, [name])} for name in _imported()}
    assert {name for name, distributions in provided_by.items() if not distributions & declared} == set()


def test_every_library_that_installs_always_is_imported() -> None:
    providers = packages_distributions()
    used = {_normalised(p) for name in _imported() for p in providers.get(name, [name])}
    assert _requirement_names(PROJECT["dependencies"]) - used == set()


def test_every_declared_library_is_pinned() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pins = [line for line in lines if line and not line.startswith("#")]
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.]+", pin) for pin in pins)
    declared = [*PROJECT["dependencies"], *chain.from_iterable(PROJECT["optional-dependencies"].values())]
    assert _requirement_names(declared) - {"cranksag"} <= _requirement_names(pins)


def test_every_python_file_names_its_licence() -> None:
    notice = "# SPDX-License-Identifier: GPL-3.0-or-later\n"
    for path in [*PACKAGE.rglob("*.py"), *(ROOT / "tests").rglob("*.py")]:
        assert path.read_text(encoding="utf-8").startswith(notice), path
