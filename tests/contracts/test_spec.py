"""The spec grammar: what is written comes back, and hostile text is never anything but a usage error."""

import json
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.errors import UsageError
from tapewright.contracts.parameters import StackText
from tapewright.contracts.spec import (
    MOST_CHARACTERS,
    MOST_NESTING,
    format_stack,
    format_value,
    from_json,
    parse_stack,
)

AWKWARD = ["true", "nan", "Infinity", "1e5", "1e5+", "-5", "", "a/b", "12:30", "+inf", "0x1f", "1.2.3", "٣"]
NAMES = st.from_regex(r"[A-Za-z][A-Za-z0-9_-]{0,12}", fullmatch=True)
VALUES = (
    st.booleans()
    | st.integers(-(10**15), 10**15)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=20)
    | st.sampled_from(
        ["true", "nan", "Infinity", "1e5", "1e5+", "-5", "", "a/b", "12:30", "+inf", "0x1f", "1.2.3", "٣"]
    )
)
ARGUMENTS = st.dictionaries(NAMES, VALUES, max_size=4)
STACKS = st.lists(st.tuples(NAMES, ARGUMENTS), min_size=1, max_size=5)


def written(stack):
    return "/".join(
        name + (":" + ",".join(f"{key}={format_value(value)}" for key, value in told.items()) if told else "")
        for name, told in stack
    )


def read(text):
    return [(item.name, dict(item.arguments)) for item in parse_stack(text)]


@given(STACKS)
def test_what_is_written_comes_back(stack):
    text = written(stack)
    assert read(text) == stack
    for (_, told), (_, came) in zip(stack, read(text), strict=True):
        for key, value in told.items():
            same_kind = type(came[key]) is type(value) or (isinstance(value, float) and value.is_integer())
            assert same_kind


@given(STACKS, st.sampled_from([" ", "\t", "\n", " \r\n "]))
def test_white_space_between_tokens_is_ignored(stack, space):
    spaced = written([(name, dict.fromkeys(told, 1)) for name, told in stack])
    for mark in "/:=,":
        spaced = spaced.replace(mark, f"{space}{mark}{space}")
    assert read(f"{space}{spaced}{space}") == [(name, dict.fromkeys(told, 1)) for name, told in stack]


@given(STACKS, st.integers(0, MOST_NESTING))
def test_a_group_in_a_stack_is_dissolved(stack, depth):
    text = written(stack)
    assert read("(" * depth + text + ")" * depth) == stack
    assert read(f"a/({text})/z") == [("a", {}), *stack, ("z", {})]


@given(STACKS)
def test_a_stack_as_a_value_is_kept_in_canonical_form(stack):
    (item,) = parse_stack(f"a:inner=( {written(stack)} )")
    (inner,) = (value for _, value in item.arguments)
    assert type(inner) is StackText
    assert read(inner) == stack
    assert parse_stack(f"a:inner={format_value(inner)}") == parse_stack(f"a:inner=({inner})")


def test_two_spellings_of_one_inner_stack_are_one_value():
    spellings = ("(a/b:c=1.0)", "( a / (b : c = 1) )", "((a)/b:c=01)")
    assert len({parse_stack(f"x:y={spelling}")[0].arguments for spelling in spellings}) == 1


def parses_or_says_why_in_one_line(text):
    said = "parsed"
    try:
        parse_stack(text)
    except UsageError as error:
        said = str(error)
    assert said.isprintable()


ALPHABET = string.ascii_letters + string.digits + " \t\n:/=,().+-_\"'\\@#%{}[]\x00\x1b²٣é\U0001f4fc"


@given(st.text(max_size=60) | st.text(ALPHABET, max_size=60))
def test_hostile_text_is_a_usage_error_of_one_line_or_a_stack(text):
    parses_or_says_why_in_one_line(text)


@given(STACKS, st.data())
def test_a_broken_spec_is_a_usage_error_or_a_stack(stack, data):
    text = written(stack)
    at = data.draw(st.integers(0, len(text)))
    broken = text[:at] + data.draw(st.sampled_from(["", "(", ")", '"', "/", ":", "=", ",", "\x00"])) + text[at + 1 :]
    parses_or_says_why_in_one_line(broken)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "spec: is empty; a stack of names is needed, such as 'sturdy'."),
        ("  ", "spec: is empty"),
        ("a/", "a name is missing at character 3"),
        ("/a", "a name is missing at character 1"),
        ("a//b", "a name is missing at character 3"),
        ("1a", "a name must start here at character 1"),
        ("a b", "'/', ':' or the end must stand here at character 3"),
        ("a:", "a parameter name of 'a' is missing at character 3"),
        ("a:b", "'=' is missing after 'b' at character 4"),
        ("a:b=", "a value for 'b' of 'a' is missing at character 5"),
        ("a:b=+x", "a value for 'b' of 'a' is missing"),
        ("a:b=1,", "a parameter name of 'a' is missing"),
        ("a:b=1,b=2", "parameter 'b' of 'a' is given twice"),
        ("a:b=nan", "parameter 'b' of 'a' must be finite, not nan"),
        ("a:b=-Infinity", "parameter 'b' of 'a' must be finite, not Infinity"),
        ("a:b=1e999", "parameter 'b' of 'a' must be finite"),
        ("a:b=" + "9" * 31, "parameter 'b' of 'a' has too many digits"),
        ('a:b="open', "the string for 'b' is not closed"),
        ('a:b="\\q"', "the string for 'b' is not a JSON string"),
        ("(a", "this '(' is never closed: unbalanced parentheses at character 1"),
        ("a:b=(c", "this '(' is never closed: unbalanced parentheses at character 5"),
        ("a)", "this ')' was never opened: unbalanced parentheses at character 2"),
        ("(a b)", "')' or '/' must stand here at character 4"),
        ("()", "a name is missing at character 2"),
        ("a:b=()", "a name is missing at character 6"),
        ("(" * (MOST_NESTING + 1) + "a" + ")" * (MOST_NESTING + 1), "parentheses nested deeper than 32"),
        ("a:b=" + "(a:b=" * MOST_NESTING + "(c" + ")" * (MOST_NESTING + 1), "parentheses nested deeper than 32"),
        ("a/" * MOST_CHARACTERS, f"must be at most {MOST_CHARACTERS} characters, not {2 * MOST_CHARACTERS}."),
    ],
)
def test_what_is_wrong_and_where(text, said):
    with pytest.raises(UsageError) as caught:
        parse_stack(text)
    assert said in str(caught.value)
    assert str(caught.value).isprintable()


def test_only_plain_digits_are_digits():
    with pytest.raises(UsageError):
        parse_stack("a:b=٣")


def test_numbers_words_and_truths():
    told = read('a:i=-12,f=.5,e=1e3,t=true,w=mark,d=1.2.3,u=12khz,q="true"')[0][1]
    assert told == {"i": -12, "f": 0.5, "e": 1000.0, "t": True, "w": "mark", "d": "1.2.3", "u": "12khz", "q": "true"}
    assert [type(value) for value in told.values()] == [int, float, float, bool, str, str, str, str]


@given(STACKS)
def test_the_json_form_comes_back(stack):
    told = json.loads(json.dumps([{"name": name, "parameters": told} for name, told in stack]))
    assert [(item.name, dict(item.arguments)) for item in from_json(told)] == stack


@pytest.mark.parametrize(
    "told",
    [
        None,
        7,
        {"name": "a"},
        ["a"],
        [{}],
        [{"name": "a", "parameters": 3}],
        [{"name": "a", "parameters": None}],
        [{"name": 3}],
        [{"name": "a b"}],
        [{"name": "a\n"}],
        [{"name": "a", "params": {"b": 1}}],
        [{"name": "a", "parameters": {3: 1}}],
        [{"name": "a", "parameters": {"b\n": 1}}],
    ],
)
def test_another_json_form_is_a_usage_error(told):
    with pytest.raises(UsageError) as caught:
        from_json(told)
    assert str(caught.value).startswith("spec: ")
    assert str(caught.value).isprintable()


def test_the_empty_stack_is_the_null_channel():
    assert format_stack(()) == "wire"
