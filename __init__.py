"""tapewright: choose a cassette tape format before building the hardware.

The short public face. Everything is loaded when first asked for, so that importing the
package costs nothing.

>>> import tapewright
>>> sturdy = tapewright.codec("sturdy")
>>> tape = sturdy.encode(b"quarter past")
>>> sturdy.decode(tape).payload
b'quarter past'
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from .contracts.codec import Codec
    from .contracts.decoded import Decoded, Event
    from .contracts.errors import TapewrightError, UsageError
    from .contracts.registry import channel, codec, receiver
    from .contracts.signal import Signal
    from .contracts.soft_bits import SoftBits
    from .contracts.streams import stream

_HOME = {
    "Codec": ".contracts.codec",
    "Decoded": ".contracts.decoded",
    "Event": ".contracts.decoded",
    "Signal": ".contracts.signal",
    "SoftBits": ".contracts.soft_bits",
    "TapewrightError": ".contracts.errors",
    "UsageError": ".contracts.errors",
    "channel": ".contracts.registry",
    "codec": ".contracts.registry",
    "receiver": ".contracts.registry",
    "stream": ".contracts.streams",
}

__all__ = [
    "Codec",
    "Decoded",
    "Event",
    "Signal",
    "SoftBits",
    "TapewrightError",
    "UsageError",
    "__version__",
    "channel",
    "codec",
    "receiver",
    "stream",
]


def __getattr__(name: str) -> Any:
    home = _HOME.get(name)
    if home is None:
        raise AttributeError(f"module 'tapewright' has no attribute {name!r}")
    return getattr(import_module(home, __name__), name)
