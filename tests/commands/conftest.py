"""The command line, run in this process in a folder of its own, with a quick line code beside the real ones."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from command_shell import Outcome, Shell
from tapewright.commands import main
from tapewright.contracts import registry
from telegraph import with_telegraph


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Shell:
    """Run ``tapewright`` with these arguments in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(registry, "installed", with_telegraph)

    def run(*arguments: object) -> Outcome:
        monkeypatch.setattr(sys, "argv", ["tapewright", *map(str, arguments)])
        capfd.readouterr()
        with pytest.raises(SystemExit) as leaving:
            main()
        said = capfd.readouterr()
        code = leaving.value.code
        assert isinstance(code, int)
        return Outcome(code, said.out, said.err)

    return run
