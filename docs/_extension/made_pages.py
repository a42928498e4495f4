"""Pages that are made, not written: every command's help, every plug-in, every module's own text.

They go to ``docs/generated``, anew for each build, and are never committed.
"""

from __future__ import annotations

import inspect
from importlib import import_module
from pathlib import Path
from typing import Any

import typer.main
from tapewright.commands.application import application
from tapewright.contracts import registry
from tapewright.reports.catalogue import catalogue

KINDS = {
    "line code": ("line_codes", "Line codes", "Bits to audio and back."),
    "layer": ("layers", "Layers", "Bits to other bits and back: checks, correction, framing, spreading."),
    "channel model": ("channel_models", "Channel models", "One physical effect each, in the order of the physics."),
    "receiver": ("receivers", "Receivers", "Who listens."),
}
"""Role of a plug-in in the catalogue: its page, the page's title and first line."""

VOCABULARY = (
    "signal", "soft_bits", "decoded", "bits", "parameters", "plug_in", "line_code", "layer", "codec", "bearable",
    "play", "channel_model", "receiver", "preset", "spec", "registry", "streams", "errors",
)  # fmt: skip
RUNS = (
    "study", "trials", "tally", "statistics", "frontier", "records", "capacity", "shelf", "strength",
    "study_file", "sweep", "identity",
)  # fmt: skip


def setup(app: Any) -> dict[str, bool]:
    app.connect("builder-inited", lambda app: write_pages(Path(app.srcdir) / "generated"))
    return {"parallel_read_safe": True}


def write_pages(folder: Path) -> None:
    """Write every made page into ``folder``."""
    folder.mkdir(exist_ok=True)
    pages = {"commands": _commands(), "ready_stacks": _presets("codec"), "grades": _presets("channel")}
    pages |= {page: _plug_ins(role) for role, (page, _, _) in KINDS.items()}
    pages["vocabulary"] = _modules("The vocabulary", "contracts", VOCABULARY)
    pages["running_studies"] = _modules("Running studies", "benchmarks", RUNS)
    for name, text in pages.items():
        (folder / f"{name}.md").write_text(text, encoding="utf-8")


def _commands() -> str:
    parts = ["# Commands", "What `tapewright COMMAND --help` says."]
    parts += _help(typer.main.get_command(application()), "tapewright", None)
    return "\n\n".join(parts) + "\n"


def _help(command: Any, name: str, above: Any) -> list[str]:
    context = command.make_context(name.split()[-1], [], parent=above, resilient_parsing=True)
    context.info_name, context.terminal_width, context.max_content_width = name.split()[-1], 84, 84
    parts = [f"## {name}" if above else "## tapewright", f"```text\n{command.get_help(context)}\n```"]
    for below, inner in getattr(command, "commands", {}).items():
        parts += _help(inner, f"{name} {below}", context)
    return parts


def _plug_ins(role: str) -> str:
    _, title, first = KINDS[role]
    parts = [f"# {title}", first]
    for entry in sorted(catalogue(), key=lambda entry: str(entry["name"])):
        if entry["role"] == role and entry["package"] == "tapewright":
            parts += _plug_in(entry)
    return "\n\n".join(parts) + "\n"


def _plug_in(entry: dict[str, Any]) -> list[str]:
    made = registry.installed(entry["kind"]).load(entry["name"])
    module = import_module(made.__module__)
    parts = [f"## {entry['name']}", f"{entry['summary']}"]
    if entry.get("needs"):
        parts.append(f"Decoded by: {entry['needs']}.")
    told = [f"```{{eval-rst}}\n{_text(part)}\n```" for part in (module, made) if _text(part)]
    parts += told
    if entry["parameters"]:
        rows = [
            f"| `{one['name']}` | {one['default']} | {_cell(one['range'])} | {_cell(one['help'])} |"
            for one in entry["parameters"]
        ]
        parts.append("\n".join(("| parameter | default | range | |", "|---|---|---|---|", *rows)))
    return parts


def _text(part: Any) -> str:
    return inspect.cleandoc(part.__doc__ or "")


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ").replace("<", "&lt;")


def _presets(kind: str) -> str:
    title = "Ready stacks" if kind == "codec" else "Grades"
    parts = [f"# {title}", "A preset's name, with its hyphen, stands for a whole spec."]
    for entry in sorted(catalogue(), key=lambda entry: str(entry["name"])):
        if entry["kind"] == kind and entry["role"] == "preset":
            parts += [f"## {entry['name']}", str(entry["summary"]), f"```text\n{_broken(str(entry['spec']))}\n```"]
    return "\n\n".join(parts) + "\n"


def _broken(spec: str) -> str:
    return spec.replace("/", "\n/")


def _modules(title: str, package: str, modules: tuple[str, ...]) -> str:
    parts = [f"# {title}"]
    for name in modules:
        parts += [f"## {name}", f"```{{eval-rst}}\n.. automodule:: tapewright.{package}.{name}\n```"]
    return "\n\n".join(parts) + "\n"
