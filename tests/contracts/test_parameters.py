"""Declared parameters: what a constructor takes, and what it says when it does not."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.errors import UsageError
from tapewright.contracts.parameters import Parameter, StackText, parameter, parameters_of
from tapewright.contracts.plug_in import PlugIn
from tapewright.contracts.spec import format_item


@dataclass(frozen=True)
class Widget(PlugIn):
    name = "widget"
    summary = "Has one parameter of each kind."

    rate_hz: float = parameter(1200.0, "A rate.", unit="Hz", low=10, high=1_048_576)
    depth: int = parameter(4, "A count.", low=1, high=1_048_576)
    mirrored: bool = parameter(False, "A switch.")
    variant: str = parameter("mark", "A choice.", choices=("mark", "space"))
    title: str = parameter("", "Any words.")
    inner: str = parameter(StackText("a"), "A stack.")


@pytest.mark.parametrize(
    ("given_", "said"),
    [
        ({"rate_hz": "fast"}, "widget: parameter 'rate_hz' must be a number, not 'fast'."),
        ({"rate_hz": True}, "widget: parameter 'rate_hz' must be a number, not True."),
        ({"rate_hz": float("nan")}, "widget: parameter 'rate_hz' must be finite, not nan."),
        ({"rate_hz": float("-inf")}, "widget: parameter 'rate_hz' must be finite, not -inf."),
        ({"rate_hz": 9.5}, "widget: parameter 'rate_hz' must be 10 to 1048576 Hz, not 9.5."),
        ({"rate_hz": 1048576.001}, "widget: parameter 'rate_hz' must be 10 to 1048576 Hz, not 1048576.001."),
        ({"rate_hz": 10**400}, "widget: parameter 'rate_hz' must be finite, not inf."),
        ({"depth": 4.0}, "widget: parameter 'depth' must be a whole number, not 4.0."),
        ({"depth": 0}, "widget: parameter 'depth' must be 1 to 1048576, not 0."),
        ({"depth": 1_048_577}, "widget: parameter 'depth' must be 1 to 1048576, not 1048577."),
        ({"depth": -(10**400)}, "widget: parameter 'depth' must be 1 to 1048576, not a number of over 30 digits."),
        ({"depth": None}, "widget: parameter 'depth' must be a whole number, not None."),
        ({"mirrored": 1}, "widget: parameter 'mirrored' must be true or false, not 1."),
        ({"variant": "level"}, "widget: parameter 'variant' must be one of mark, space, not level."),
        ({"variant": 3}, "widget: parameter 'variant' must be a word, not 3."),
        ({"variant": "a\nb"}, "widget: parameter 'variant' must be one of mark, space, not a b."),
        ({"title": StackText("a")}, "widget: parameter 'title' must be a word, not 'a'."),
        ({"inner": 3}, "widget: parameter 'inner' must be a stack in parentheses, not 3."),
        ({"inner": "a/(b"}, "widget: parameter 'inner' must be a stack"),
        ({"inner": ""}, "widget: parameter 'inner' must be a stack"),
    ],
)
def test_a_wrong_value_is_refused_with_parameter_rule_and_value(given_, said):
    with pytest.raises(UsageError) as caught:
        Widget(**given_)
    assert str(caught.value).startswith(said)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 300


def test_values_take_the_declared_type():
    widget = Widget(rate_hz=1200, depth=np.int64(7), mirrored=np.True_)
    assert (type(widget.rate_hz), type(widget.depth), type(widget.mirrored)) == (float, int, bool)
    assert Widget(rate_hz=np.float32(0.5) * 100).rate_hz == 50.0
    assert hash(widget) == hash(Widget(rate_hz=1200.0, depth=7, mirrored=True))


def test_a_stack_may_be_given_as_text_and_becomes_canonical():
    """JSON and repr know only text: law, constructor == repr == spec == JSON."""
    assert Widget(inner=" a / (b:c=1.0) ") == Widget(inner=StackText("a/b:c=1"))
    assert type(Widget(inner="a").inner) is StackText
    assert repr(Widget(inner="a/b")) == repr(Widget(inner=StackText("a/b")))
    assert format_item(Widget(inner="a / b")).endswith("inner=(a/b)")


@given(st.floats(10, 1_048_576), st.integers(1, 1_048_576), st.booleans(), st.text(max_size=30))
def test_every_value_in_range_is_kept_as_it_is(rate_hz, depth, mirrored, title):
    widget = Widget(rate_hz=rate_hz, depth=depth, mirrored=mirrored, title=title)
    assert (widget.rate_hz, widget.depth, widget.mirrored, widget.title) == (rate_hz, depth, mirrored, title)


def test_parameters_are_listed_in_order_with_what_was_declared():
    listed = parameters_of(Widget)
    assert [one.name for one in listed] == ["rate_hz", "depth", "mirrored", "variant", "title", "inner"]
    assert listed[0] == Parameter("rate_hz", 1200.0, "A rate.", "Hz", 10, 1_048_576)


@pytest.mark.parametrize(
    ("declared", "text"),
    [
        (Parameter("x", 1.0, "h", "dB", 0, 40), "0 to 40 dB"),
        (Parameter("x", 1.0, "h", "Hz", 0.125, 1_048_576), "0.125 to 1048576 Hz"),
        (Parameter("x", 1.0, "h", "s", low=2), "at least 2 s"),
        (Parameter("x", 1, "h", high=9), "at most 9"),
        (Parameter("x", 1.0, "h"), "a number"),
        (Parameter("x", True, "h"), "true or false"),
        (Parameter("x", "a", "h", choices=("a", "b")), "a, b"),
    ],
)
def test_a_range_is_told_in_full(declared, text):
    assert declared.range_text() == text
