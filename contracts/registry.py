"""Plug-ins and presets by name, found through the entry points of installed packages.

Ours register the same way as a stranger's, nothing is imported before it is asked for, and two packages that claim
one name are an error that names both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.metadata import Distribution, EntryPoint, entry_points
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .errors import PlugInError, UsageError, did_you_mean, in_one_line
from .named_file import toml_in
from .parameters import Value, parameters_of
from .plug_in import PlugIn
from .preset import Preset
from .profile_rules import check_profile, is_profile
from .spec import MOST_CHARACTERS, Item, from_json, parse_stack

if TYPE_CHECKING:
    from .channel_model import Channel
    from .codec import Codec
    from .receiver import Receiver

KINDS = {
    "codec": "tapewright.codecs",
    "channel": "tapewright.channel_models",
    "receiver": "tapewright.receivers",
}
"""What is looked up, and the entry-point group it registers in. Line codes and layers both register as codecs."""

_MOST_EXPANSION = 16


@dataclass(frozen=True)
class Registry:
    """The entry points of one kind.

    Attributes:
        kind: a key of ``KINDS``.
        claims: name to every entry point that claims it.
    """

    kind: str
    claims: dict[str, tuple[EntryPoint, ...]]

    def names(self) -> tuple[str, ...]:
        """Every registered name, sorted."""
        return tuple(sorted(self.claims))

    def load(self, name: str) -> type[PlugIn] | Preset:
        """The plug-in class or preset called ``name``.

        Raises:
            UsageError: unknown; lists what exists and the nearest.
            PlugInError: claimed twice, fails to import, or is not what it registers as.
        """
        claims = self.claims.get(name)
        if claims is None:
            hint = did_you_mean(name, self.claims)
            raise UsageError(
                f"{self.kind}: there is no '{in_one_line(name, 60)}'.{hint} There are: {', '.join(self.names())}."
            )
        if len(claims) > 1:
            owners = " and ".join(sorted(f"'{_package(claim)}'" for claim in claims))
            raise PlugInError(f"{self.kind}: packages {owners} both claim the name '{name}'; remove one of them.")
        found = claims[0]
        try:
            loaded: Any = found.load()
        except ModuleNotFoundError as error:
            hint = f" (is the package '{error.name}' installed?)" if error.name else ""
            raise PlugInError(
                f"{self.kind}: '{name}' of package '{_package(found)}' cannot be loaded: {in_one_line(error)}{hint}"
            ) from error
        except (Exception, SystemExit) as error:  # whatever a stranger's module does on import
            raise PlugInError(
                f"{self.kind}: '{name}' of package '{_package(found)}' cannot be loaded: "
                f"{type(error).__name__}: {in_one_line(error)}"
            ) from error
        is_plug_in = isinstance(loaded, type) and issubclass(loaded, PlugIn)
        if not (is_plug_in or isinstance(loaded, Preset)) or loaded.name != name:
            raise PlugInError(
                f"{self.kind}: '{name}' of package '{_package(found)}' is no plug-in or preset of that name."
            )
        plug_in: type[PlugIn] | Preset = loaded
        return plug_in

    def package(self, name: str) -> str:
        """Which installed package registered ``name``."""
        return _package(self.claims[name][0])

    def expanded(self, items: tuple[Item, ...], depth: int = 0) -> tuple[Item, ...]:
        """The same stack with what each preset stands for in its place, so that only plug-ins are named."""
        if depth > _MOST_EXPANSION:
            raise UsageError(f"{self.kind}: presets refer to each other in a circle.")
        stack: list[Item] = []
        for item in items:
            found = self.load(item.name)
            if isinstance(found, Preset):
                members = parse_stack(found.spec) if found.spec else ()
                stack += self.expanded(self._set(members, found, item), depth + 1)
            else:
                stack.append(item)
        return tuple(stack)

    def build(self, items: tuple[Item, ...]) -> tuple[PlugIn, ...]:
        """The plug-ins that ``items`` name, presets expanded."""
        return tuple(_construct(self.plug_in(item.name), item) for item in self.expanded(items))

    def plug_in(self, name: str) -> type[PlugIn]:
        """The plug-in class called ``name``, which is no preset."""
        found = self.load(name)
        if isinstance(found, Preset):
            raise UsageError(f"{self.kind}: '{in_one_line(name, 60)}' is a preset, and a plug-in is needed.")
        return found

    def _set(self, members: tuple[Item, ...], preset: Preset, item: Item) -> tuple[Item, ...]:
        """``members`` of a preset with the arguments that were given with its name."""
        for key, value in item.arguments:
            if key not in preset.settings:
                offered = f"only {', '.join(preset.settings)}" if preset.settings else "no parameters"
                raise UsageError(
                    f"{self.kind}: '{item.name}' is a preset and takes {offered}; "
                    f"it stands for '{in_one_line(preset.spec)}', which can be written out and changed."
                )
            members = tuple(self._with(member, key, value) for member in members)
        return members

    def _with(self, member: Item, key: str, value: Value) -> Item:
        """``member`` with that argument, if it has such a parameter."""
        found = self.load(member.name)
        offered = found.settings if isinstance(found, Preset) else [one.name for one in parameters_of(found)]
        if key not in offered:
            return member
        return Item(member.name, tuple({**dict(member.arguments), key: value}.items()), member.position)


def _package(claim: EntryPoint) -> str:
    return "unknown" if claim.dist is None else _name_of(claim.dist)


@lru_cache(maxsize=256)
def _name_of(found: Distribution) -> str:
    """The name in its metadata, which would be read anew at each look; ``installed`` looks for new distributions."""
    return found.name


def _construct(plug_in: type[PlugIn], item: Item) -> PlugIn:
    known = [declared.name for declared in parameters_of(plug_in)]
    for key, _ in item.arguments:
        if key not in known:
            hint = did_you_mean(key, known)
            listed = ", ".join(known) or "none"
            raise UsageError(f"{item.name}: there is no parameter '{in_one_line(key, 60)}'.{hint} There are: {listed}.")
    return plug_in(**dict(item.arguments))


@cache
def installed(kind: str) -> Registry:
    """The registry of what is installed now; ``installed.cache_clear()`` looks again."""
    claims: dict[str, tuple[EntryPoint, ...]] = {}
    for entry in entry_points(group=KINDS[kind]):
        claims[entry.name] = (*claims.get(entry.name, ()), entry)
    return Registry(kind, claims)


def _items(source: str | list[Any]) -> tuple[Item, ...]:
    if not isinstance(source, str):
        return from_json(source)
    text = source.strip()
    return parse_stack(_spec_in_file(Path(text[1:])) if text.startswith("@") else text)


def _spec_in_file(path: Path) -> str:
    shown = in_one_line(path, 120)
    told = toml_in(path, "spec file", MOST_CHARACTERS)
    if is_profile(told):
        check_profile(told, f"profile '{shown}'")
    spec = told.get("spec")
    if not isinstance(spec, str):
        raise UsageError(f"spec file '{shown}' must hold a line: spec = \"...\".")
    return spec


def codec(spec: str | list[Any]) -> Codec:
    """The codec that a spec (or its JSON form) names.

    >>> codec("plain-biphase").needs
    'microcontroller'

    Raises:
        UsageError: unknown names or parameters, a stack that does not end in its only line code, or members that do
            not join.
    """
    from .codec import Codec
    from .joints import check_joints
    from .layer import Layer
    from .line_code import LineCode

    stack = installed("codec").build(_items(spec))
    for member in stack:
        if not isinstance(member, Layer | LineCode):
            raise PlugInError(f"codec: '{member.name}' is neither a layer nor a line code.")
    if not stack:
        raise UsageError("codec: an empty stack is no codec; it needs a line code.")
    *layers, last = stack
    if not isinstance(last, LineCode):
        raise UsageError(f"codec: a stack ends in a line code, and '{last.name}' is a layer.")
    for member in layers:
        if isinstance(member, LineCode):
            raise UsageError(f"codec: '{member.name}' is a line code and must come last; '{last.name}' follows it.")
    joined = tuple(member for member in layers if isinstance(member, Layer))
    check_joints(joined, last)
    return Codec(joined, last)


def channel(spec: str | list[Any]) -> Channel:
    """The channel that a spec (or its JSON form) names.

    >>> channel("wire").stages
    ()
    """
    from .channel_model import Channel, ChannelModel

    stack = installed("channel").build(_items(spec))
    for member in stack:
        if not isinstance(member, ChannelModel):
            raise PlugInError(f"channel: '{member.name}' is no channel model.")
    return Channel(tuple(member for member in stack if isinstance(member, ChannelModel)))


def receiver(spec: str | list[Any]) -> Receiver:
    """The receiver that a spec (or its JSON form) names."""
    from .receiver import Receiver

    stack = installed("receiver").build(_items(spec))
    if len(stack) != 1:
        raise UsageError(f"receiver: one name is needed, not a stack of {len(stack)}.")
    only = stack[0]
    if not isinstance(only, Receiver):
        raise PlugInError(f"receiver: '{only.name}' is no receiver.")
    return only


__all__ = ["KINDS", "Registry", "channel", "codec", "installed", "receiver"]
