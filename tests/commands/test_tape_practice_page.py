"""The page on tape practice names commands and options that exist."""

import re
from pathlib import Path

from tapewright.commands.application import COMMANDS

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "tape_practice.md").read_text(encoding="utf-8")


def test_every_command_it_names_exists() -> None:
    named = set(re.findall(r"`tapewright (\w+)", PAGE))
    assert {"decode", "explain", "measure", "testtape"} <= named <= set(COMMANDS)


def test_every_option_it_names_exists() -> None:
    for option in set(re.findall(r"`(--[a-z-]+)`", PAGE)):
        assert any(f'"{option}"' in text or f"    {option[2:].replace('-', '_')}: " in text for text in _sources())


def _sources() -> list[str]:
    return [(ROOT / "commands" / f"{name}.py").read_text(encoding="utf-8") for name in COMMANDS]
