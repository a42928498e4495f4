"""The repository root is the package: it is imported once, under one name, and Python's own modules stay themselves."""

import ast
import codecs
import json
import os
import shutil
import subprocess
import sys
import sysconfig
from collections import Counter
from pathlib import Path

import pytest
import tapewright

ROOT = Path(__file__).parents[2]
PACKAGE = Path(tapewright.__file__).parent
STANDARD_LIBRARY = Path(sysconfig.get_paths()["stdlib"]).resolve()
SEES = """
import json, sys, codecs
{first}
files = {{name: getattr(module, "__file__", None) for name, module in sys.modules.items()}}
print(json.dumps({{"files": files, "codecs": codecs.__file__, "told": {told}}}))
"""


def fresh(first, told="None", cwd=None, **environment):
    """What a fresh interpreter sees after running ``first`` in the folder ``cwd``."""
    run = [sys.executable, "-c", SEES.format(first=first, told=told)]
    done = subprocess.run(run, cwd=cwd, env={**os.environ, **environment}, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


def names_of_our_files(files):
    """Module name to file, for every file of the package: at its top or in one of its folders."""
    ours = {}
    for name, file in files.items():
        path = Path(file) if file else None
        if path and path.is_relative_to(PACKAGE):
            parts = path.relative_to(PACKAGE).parts
            if len(parts) == 1 or (PACKAGE / parts[0] / "__init__.py").exists():
                ours[name] = file
    return ours


def is_one_tree(files):
    ours = names_of_our_files(files)
    strangers = [name for name in ours if name.split(".")[0] not in {"tapewright", "__main__", "__mp_main__"}]
    twice = [file for file, count in Counter(ours.values()).items() if count > 1]
    return not strangers and not twice


def test_this_very_run_imported_one_tree():
    """With pytest as it runs now: no module of ours goes by the name of a folder, of the clone or of another copy."""
    tapewright.codec("sturdy")
    files = {name: getattr(module, "__file__", None) for name, module in list(sys.modules.items())}
    assert len(names_of_our_files(files)) > 10
    assert is_one_tree(files)


def test_two_names_for_one_file_are_seen():
    file = str(PACKAGE / "contracts" / "codec.py")
    assert is_one_tree({"tapewright.contracts.codec": file})
    assert not is_one_tree({"tapewright.contracts.codec": file, "main.contracts.codec": file})
    assert not is_one_tree({"codecs.line_codes": str(PACKAGE / "codecs" / "line_codes" / "__init__.py")})


@pytest.mark.parametrize("from_root", [True, False])
def test_pytest_imports_one_tree_from_any_folder(from_root, tmp_path):
    this = Path(__file__)
    cwd, path = (ROOT, this.relative_to(ROOT)) if from_root else (tmp_path, this)
    script = shutil.which("pytest", path=sysconfig.get_path("scripts"))
    assert script, "pytest is installed beside the Python that runs these tests"
    command = [script, "-p", "no:cacheprovider", f"{path}::test_this_very_run_imported_one_tree"]
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-2000:]
    assert "1 passed" in done.stdout


@pytest.mark.parametrize("from_root", [True, False])
def test_the_package_is_found_from_any_folder(from_root, tmp_path):
    seen = fresh("import tapewright; tapewright.codec('sturdy')", cwd=ROOT if from_root else tmp_path)
    assert Path(seen["files"]["tapewright"]).parent == PACKAGE
    assert is_one_tree(seen["files"])
    assert "codecs.line_codes" not in seen["files"]


@pytest.mark.parametrize("from_root", [True, False])
def test_pythons_own_codecs_is_untouched(from_root, tmp_path):
    seen = fresh(
        "import tapewright; tapewright.codec('sturdy')",
        "[codecs.lookup('utf-8').name, hasattr(codecs, 'line_codes')]",
        cwd=ROOT if from_root else tmp_path,
    )
    assert Path(seen["codecs"]).resolve().is_relative_to(STANDARD_LIBRARY)
    assert seen["told"] == ["utf-8", False]


def test_codecs_in_this_run_is_pythons_own():
    assert Path(codecs.__file__).resolve().is_relative_to(STANDARD_LIBRARY)


def test_importing_the_package_loads_nothing(tmp_path):
    """No numpy, no plug-in, no contract: importing costs nothing until something is asked for."""
    seen = fresh("import tapewright", cwd=tmp_path)
    assert [name for name in seen["files"] if name.startswith("tapewright")] == ["tapewright"]
    assert not {"numpy", "scipy", "numba"} & set(seen["files"])


def test_importing_the_package_registers_nothing(tmp_path):
    """The plug-ins are those of the entry points, before and after everything is imported."""
    told = "[sorted(installed(kind).names()) for kind in ('codec', 'channel', 'receiver')]"
    lookup = "from tapewright.contracts.registry import installed"
    before = fresh(lookup, told, cwd=tmp_path)["told"]
    plug_ins = "import tapewright.codecs, tapewright.channel_models, tapewright.receivers.sound"
    assert fresh(f"{plug_ins}\n{lookup}", told, cwd=tmp_path)["told"] == before
    assert "sturdy" in before[0]


def test_the_public_names_are_there_and_the_short_list_is_whole():
    tree = ast.parse((ROOT / "__init__.py").read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    typed = {alias.name for node in block.body for alias in node.names}
    assert typed | {"__version__"} == set(tapewright.__all__)
    for name in tapewright.__all__:
        assert getattr(tapewright, name) is not None
    with pytest.raises(AttributeError, match="module 'tapewright' has no attribute 'tape'"):
        _ = tapewright.tape


def test_the_module_runs_as_a_command(tmp_path):
    run = [sys.executable, "-m", "tapewright", "--version"]
    done = subprocess.run(run, cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert tapewright.__version__ in done.stdout
