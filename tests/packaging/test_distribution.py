"""What is shipped: every package folder, the data it needs, nothing of the tests; built from a copy elsewhere."""

import os
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest
import setuptools
import tapewright

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PACKAGES = PROJECT["tool"]["setuptools"]["packages"]
LEFT_BEHIND = {"tests", "docs", "build", "dist", ".venv", ".git", "__pycache__"}


def folder_of(package):
    return Path(*package.split(".")[1:])


def build(source, destination, what):
    """Runs the build backend that pyproject names, in ``source``, and returns what it made."""
    told = f"from setuptools import build_meta; print(build_meta.build_{what}({str(destination)!r}))"
    done = subprocess.run([sys.executable, "-c", told], cwd=source, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    return destination / done.stdout.splitlines()[-1]


@pytest.fixture(scope="module")
def distributions(tmp_path_factory):
    """The wheel and the sdist, built from a copy of the tree in a folder with another name."""
    needed = PROJECT["build-system"]["requires"]
    assert needed == ["setuptools>=77"]
    assert int(setuptools.__version__.split(".")[0]) >= 77, "the test extra installs setuptools 77 or later"
    made = tmp_path_factory.mktemp("distributions")
    copy = made / "another name"
    left = shutil.ignore_patterns(".*", *LEFT_BEHIND, "*.egg-info", "*.nbi", "*.nbc")
    shutil.copytree(ROOT, copy, ignore=left)
    return build(copy, made, "wheel"), build(copy, made, "sdist")


def held_by(wheel):
    with zipfile.ZipFile(wheel) as archive:
        return {name for name in archive.namelist() if not name.endswith("/")}


def test_every_package_folder_is_listed():
    folders = {
        path.parent.relative_to(ROOT)
        for path in ROOT.rglob("__init__.py")
        if not LEFT_BEHIND & set(path.relative_to(ROOT).parts)
    }
    assert folders == {folder_of(package) for package in PACKAGES}
    assert sorted(PACKAGES) == PACKAGES


def test_every_module_is_in_a_package():
    loose = {
        path.relative_to(ROOT)
        for path in ROOT.rglob("*.py")
        if not LEFT_BEHIND & set(path.relative_to(ROOT).parts) and not (path.parent / "__init__.py").exists()
    }
    assert loose == set()


def test_the_wheel_holds_every_module_and_its_data(distributions):
    held = held_by(distributions[0])
    for package in PACKAGES:
        folder = folder_of(package)
        for path in (ROOT / folder).glob("*.py"):
            assert str(Path("tapewright") / folder / path.name) in held
    data = {"tapewright/py.typed", *(f"tapewright/files/{path.name}" for path in (ROOT / "files").glob("*.hex"))}
    data |= {f"tapewright/{path.relative_to(ROOT)}" for path in (ROOT / "receivers").rglob("*.toml")}
    data |= {f"tapewright/{path.relative_to(ROOT)}" for path in (ROOT / "reports" / "page").iterdir()}
    assert data <= held
    assert "tapewright/files/chime.hex" in data


def test_the_wheel_holds_nothing_else(distributions):
    held = held_by(distributions[0])
    assert {name.split("/")[0] for name in held} == {
        "tapewright",
        f"tapewright-{tapewright.__version__}.dist-info",
    }
    for name in held:
        assert not LEFT_BEHIND & set(Path(name).parts)
        assert (
            Path(name).suffix in {".py", ".typed", ".hex", ".toml", ".txt", ".c", ".h", ".css", ".js", ""}
            or "dist-info" in name
        )


def test_the_metadata_says_what_the_project_says(distributions):
    with zipfile.ZipFile(distributions[0]) as archive:
        info = f"tapewright-{tapewright.__version__}.dist-info"
        told = Parser().parsestr(archive.read(f"{info}/METADATA").decode())
        entry_points = archive.read(f"{info}/entry_points.txt").decode()
        assert f"{info}/licenses/LICENSE" in archive.namelist()
    assert told["Version"] == tapewright.__version__ == PROJECT["project"]["version"]
    assert told["Requires-Python"] == ">=3.11"
    assert told["License-Expression"] == "MIT"
    for group, entries in PROJECT["project"]["entry-points"].items():
        assert f"[{group}]" in entry_points
        for name, target in entries.items():
            assert f"{name} = {target}" in entry_points


def test_the_sdist_is_enough_to_build_the_same_wheel(distributions, tmp_path):
    wheel, sdist = distributions
    with tarfile.open(sdist) as archive:
        archive.extractall(tmp_path, filter="data")
    (unpacked,) = tmp_path.iterdir()
    again = tmp_path / "again"
    again.mkdir()
    assert held_by(build(unpacked, again, "wheel")) == held_by(wheel)
    for name in ("README.md", "LICENSE", "pyproject.toml"):
        assert (unpacked / name).exists()


def test_the_wheel_works_without_the_tree(distributions, tmp_path):
    """Unpacked on a path of its own, ahead of any other copy, and run from a folder that has nothing to do with it."""
    home = tmp_path / "installed"
    with zipfile.ZipFile(distributions[0]) as archive:
        archive.extractall(home)
    told = (
        "import tapewright, tapewright.files.chime as chime; from tapewright.contracts.registry import installed\n"
        "codec = tapewright.codec('sturdy'); sound = tapewright.channel('wire')\n"
        "print(tapewright.__file__, codec.decode(codec.encode(b'noon')).payload, chime.__file__, sep='|')"
    )
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    # Kernels as plain Python: what a first build gives on a new machine is the matter of tests/kernels.
    environment = {**os.environ, "PYTHONPATH": str(home), "NUMBA_DISABLE_JIT": "1"}
    run = [sys.executable, "-c", told]
    done = subprocess.run(run, cwd=elsewhere, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    where, payload, chime = done.stdout.strip().split("|")
    assert Path(where).parent == home / "tapewright"
    assert Path(chime).is_relative_to(home)
    assert payload == "b'noon'"
    assert list(elsewhere.iterdir()) == []
