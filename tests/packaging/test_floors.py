"""The house: who may import whom, how, and what no file may hold. Read from the sources by their syntax trees."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FLOORS = {
    "contracts": 1,
    "kernels": 1,
    "codecs": 2,
    "channel_models": 2,
    "receivers": 2,
    "files": 2,
    "measurement": 2,
    "reports": 2,
    "benchmarks": 3,
    "commands": 4,
}
HEAVY = {"scipy", "numba", "matplotlib", "plotly", "soundfile", "bincopy", "galois", "reedsolo", "rich"}
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "breakpoint"}
FORBIDDEN_MODULES = {"pickle", "marshal", "shelve", "socket", "ssl", "urllib", "http", "ftplib", "smtplib", "requests"}
VERSION = ("__version__",)
"""The one name at the top of the package that any floor may read."""
KIT = ROOT / "contracts" / "conformance"


def sources():
    inside = [path for folder in FLOORS for path in (ROOT / folder).rglob("*.py")]
    return sorted([*ROOT.glob("*.py"), *inside])


SOURCES = sources()
IDS = [str(path.relative_to(ROOT)) for path in SOURCES]


def imports(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node, 0, alias.name
        elif isinstance(node, ast.ImportFrom):
            if node.module is None:
                for alias in node.names:
                    yield node, node.level, alias.name
            else:
                yield node, node.level, node.module


def aimed_at(path, level, module):
    """The folder path, as parts from the root, that a relative import reaches."""
    home = path.relative_to(ROOT).parent.parts
    return (*home[: len(home) - (level - 1)], *module.split("."))


def breaches(path, tree):
    """Each import of ``path`` that reaches a floor it may not reach, in words."""
    home = path.relative_to(ROOT).parts[0]
    for node, level, module in imports(tree):
        if level == 0:
            if module.split(".")[0] == "tapewright":
                yield f"line {node.lineno}: absolute import of {module}"
            continue
        reached = aimed_at(path, level, module)
        if len(path.relative_to(ROOT).parent.parts) < level - 1:
            yield f"line {node.lineno}: an import that leaves the package"
        elif home in FLOORS and reached[0] != home:
            if reached == VERSION:
                continue
            if reached[0] not in FLOORS:
                yield f"line {node.lineno}: {home} imports {'.'.join(reached)}, which stands above it"
            elif FLOORS[reached[0]] >= FLOORS[home]:
                yield f"line {node.lineno}: {home} (floor {FLOORS[home]}) imports {reached[0]}"


@pytest.mark.parametrize("path", SOURCES, ids=IDS)
def test_a_file_imports_from_its_own_folder_and_lower_floors_only(path):
    assert list(breaches(path, ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    ("home", "source", "words"),
    [
        ("codecs/layers/x.py", "from ...channel_models.hiss import Hiss", "codecs (floor 2) imports channel_models"),
        ("contracts/x.py", "from ..codecs import ready", "contracts (floor 1) imports codecs"),
        ("contracts/x.py", "from ..kernels import warp", "contracts (floor 1) imports kernels"),
        ("codecs/x.py", "from ..benchmarks import study", "codecs (floor 2) imports benchmarks"),
        ("codecs/x.py", "import tapewright.contracts.codec", "absolute import of tapewright.contracts.codec"),
        ("codecs/x.py", "from .. import codec", "which stands above it"),
        ("codecs/x.py", "def f():\n    from ..receivers import sound", "codecs (floor 2) imports receivers"),
        ("codecs/x.py", "from ... import numpy", "leaves the package"),
    ],
)
def test_a_breach_is_seen(home, source, words):
    assert words in " ".join(breaches(ROOT / home, ast.parse(source)))


def test_benchmarks_reach_plug_ins_through_the_registry():
    for path in (ROOT / "benchmarks").rglob("*.py"):
        for _, level, module in imports(ast.parse(path.read_text(encoding="utf-8"))):
            reached = aimed_at(path, level, module)[0] if level else ""
            assert reached not in {"codecs", "channel_models", "receivers"}, f"{path.name}: {module}"


def test_every_folder_has_its_floor():
    folders = {path.parent.relative_to(ROOT).parts[0] for path in ROOT.glob("*/__init__.py")}
    assert folders == set(FLOORS)


@pytest.mark.parametrize("path", SOURCES, ids=IDS)
def test_heavy_packages_are_imported_where_they_are_used(path):
    """At module level only kernels may import numba; the rest is imported inside the function that needs it."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    home = path.relative_to(ROOT).parts[0]
    for node in tree.body:
        for _, level, module in (
            imports(ast.Module([node], [])) if isinstance(node, ast.Import | ast.ImportFrom) else ()
        ):
            if level == 0 and module.split(".")[0] in HEAVY:
                assert (home, module) == ("kernels", "numba"), f"{path.name} line {node.lineno}: {module}"


@pytest.mark.parametrize("path", SOURCES, ids=IDS)
def test_no_eval_no_pickle_from_disk_no_network_no_printing(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    home = path.relative_to(ROOT).parts[0]
    banned = FORBIDDEN_MODULES - ({"pickle"} if path.parent == KIT else set())
    assert not {module.split(".")[0] for _, level, module in imports(tree) if level == 0} & banned
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in FORBIDDEN_CALLS, node.lineno
            speaks = home == "commands" or path.parts[-2] == "speed"
            assert node.func.id != "print" or speaks, f"line {node.lineno}: prints"


@pytest.mark.parametrize("path", SOURCES, ids=IDS)
def test_no_global_randomness(path):
    """Nothing draws from or seeds the generators that are shared; only the kit looks at their state."""
    if path.parent == KIT:
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            assert "random" not in {alias.name for alias in node.names}
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Attribute) and node.value.attr == "random":
            assert node.attr[0].isupper() or node.attr == "default_rng", f"line {node.lineno}: np.random.{node.attr}"
            assert node.attr != "default_rng", f"line {node.lineno}: a generator is passed in, never made"


def test_the_kit_imports_no_test_runner_and_no_plug_in():
    for path in KIT.glob("*.py"):
        for _, level, module in imports(ast.parse(path.read_text(encoding="utf-8"))):
            assert module.split(".")[0] not in {"pytest", "hypothesis"}
            assert level == 0 or aimed_at(path, level, module)[0] == "contracts"


def listed():
    """Every file of the checkout that is text, tracked or about to be."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    try:
        told = subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout.decode()
        paths = [ROOT / name for name in told.split("\0") if name]
    except (OSError, subprocess.CalledProcessError):
        paths = [path for path in ROOT.rglob("*") if not set(path.parts) & {"build", ".venv", "__pycache__"}]
    return [path for path in paths if path.is_file() and path.suffix not in {".flac", ".wav", ".png", ".nbi", ".nbc"}]


def test_no_path_of_one_machine():
    """No home, temporary or working folder of somebody's machine is written anywhere."""
    machine = re.compile(r"(?<![\w.])/(home|Users|root|work|opt|mnt|tmp|private|var/folders)/\w|[A-Z]:\\\\?Users")
    for path in listed():
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            assert not machine.search(line), f"{path.relative_to(ROOT)}:{number}: {line.strip()}"


def test_no_file_outgrows_its_noun():
    """About 300 lines is the most; a file over it is two files."""
    for path in SOURCES:
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 330, f"{path.relative_to(ROOT)} has {lines} lines"


def test_test_files_have_unique_base_names():
    """pytest imports them by base name, because the folders under tests hold no __init__.py."""
    names = [path.name for path in (ROOT / "tests").rglob("test_*.py")]
    assert sorted(names) == sorted(set(names))
    assert not list((ROOT / "tests").glob("**/__init__.py")) or all(
        "stranger" in str(path) for path in (ROOT / "tests").glob("**/__init__.py")
    )
