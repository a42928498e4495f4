"""The documentation site: it builds without a warning, its links lead somewhere, and its examples run."""

import doctest
import re
import shlex
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

ROOT = Path(__file__).parents[2]
PAGES = sorted((ROOT / "docs").glob("*.md"))
WITH_PYTHON = [page for page in (*PAGES, ROOT / "README.md") if "```python" in page.read_text(encoding="utf-8")]
WITH_COMMANDS = [page for page in PAGES if "```console" in page.read_text(encoding="utf-8")]


def fenced(page, language):
    """What stands in the page's fences of that language."""
    text = page.read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


class Links(HTMLParser):
    """The places of a page that can be linked to, and where its links lead."""

    def __init__(self, page):
        super().__init__()
        self.anchors, self.leads = set(), set()
        self.feed(page.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        self.anchors.update(told[name] for name in ("id", "name") if told.get(name))
        self.leads.update(told[name] for name in ("href", "src") if told.get(name))


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The site, built as CI builds it: every warning an error, every reference looked up."""
    folder = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "sphinx", "-W", "-n", "-q", "--keep-going", "-d", folder / "doctrees"]
    done = subprocess.run([*command, ROOT / "docs", folder / "html"], capture_output=True, text=True, cwd=folder)
    assert done.returncode == 0, done.stderr[-3000:]
    return folder / "html"


def broken_links(site):
    """Every link of the site that leads to no file or to no place in it; those to other sites only parsed."""
    pages = {page: Links(page) for page in site.rglob("*.html")}
    broken = []
    for page, links in pages.items():
        for lead in links.leads:
            parts = urlsplit(lead)
            if parts.scheme or parts.netloc:
                continue
            target = (page.parent / unquote(parts.path)).resolve() if parts.path else page
            anchors = pages[target].anchors if target in pages else None
            missing_place = parts.fragment and anchors is not None and unquote(parts.fragment) not in anchors
            if not target.is_file() or missing_place:
                broken.append(f"{page.relative_to(site)} -> {lead}")
    return pages, broken


def test_every_link_leads_somewhere(site):
    pages, broken = broken_links(site)
    assert len(pages) >= 15
    assert not broken, broken


def test_a_broken_link_is_found(tmp_path):
    page = '<a id="here"></a><a href="#here"><a href="#there"><a href="gone.html"><a href="https://example.org/gone">'
    (tmp_path / "page.html").write_text(page, encoding="utf-8")
    _, broken = broken_links(tmp_path)
    assert sorted(broken) == ["page.html -> #there", "page.html -> gone.html"]


def test_every_command_and_plug_in_has_its_place(site):
    from tapewright.commands.application import COMMANDS
    from tapewright.contracts.registry import KINDS, installed

    text = "".join(page.read_text(encoding="utf-8") for page in (site / "generated").glob("*.html"))
    for command in COMMANDS:
        assert f'id="tapewright-{command}"' in text, command
    for kind in KINDS:
        for name in installed(kind).names():
            if installed(kind).package(name) == "tapewright":
                assert f'id="{name.replace("_", "-")}"' in text, name


def test_every_module_that_people_build_on_has_its_place(site):
    text = "".join(page.read_text(encoding="utf-8") for page in (site / "generated").glob("*.html"))
    for folder in ("contracts", "contracts/conformance", "benchmarks", "files"):
        for module in (ROOT / folder).glob("*.py"):
            name = ".".join(("tapewright", *Path(folder).parts, module.stem))
            assert module.stem == "__init__" or f'id="module-{name}"' in text, name


def test_the_page_on_physics_names_every_effect():
    from tapewright.contracts.registry import installed

    models = installed("channel")
    told = (ROOT / "docs" / "physics.md").read_text(encoding="utf-8")
    for name in models.names():
        if models.package(name) == "tapewright" and isinstance(models.load(name), type):
            assert f"`{name}`" in told, name


def test_the_readme_names_every_command_and_what_spreads_the_work():
    from tapewright.commands.application import COMMANDS, STUDY_COMMANDS

    told = (ROOT / "README.md").read_text(encoding="utf-8")
    for command in (*COMMANDS, *(f"study {one}" for one in STUDY_COMMANDS)):
        assert f"tapewright {command}" in told, command
    for option in ("--rare", "--until", "--share", "--engine dask"):
        assert option in told, option


@pytest.mark.parametrize("page", WITH_PYTHON, ids=lambda page: page.stem)
def test_python_examples_say_what_they_give(page):
    text = "\n".join(fenced(page, "python"))
    if ">>>" not in text:
        exec(compile(text, str(page), "exec"), {"__name__": "example"})
        return
    examples = doctest.DocTestParser().get_doctest(text, {"__name__": "example"}, page.name, str(page), 0)
    told = []
    result = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(examples, out=told.append)
    assert result.attempted > 0
    assert result.failed == 0, "".join(told)


@pytest.mark.parametrize("page", WITH_COMMANDS, ids=lambda page: page.stem)
def test_commands_can_be_typed_as_they_stand(page, tmp_path, monkeypatch, capfd):
    """One after the other in one folder, as they would be typed; in this process, which has everything loaded."""
    from tapewright.commands import main

    typed = [line[2:] for block in fenced(page, "console") for line in block.splitlines() if line.startswith("$ ")]
    assert typed
    monkeypatch.chdir(tmp_path)
    for line in typed:
        monkeypatch.setattr(sys, "argv", shlex.split(line))
        assert sys.argv[0] == "tapewright", line
        with pytest.raises(SystemExit) as leaving:
            main()
        said = capfd.readouterr()
        assert leaving.value.code == 0, f"{line}\n{said.out[-2000:]}\n{said.err[-2000:]}"
