from __future__ import annotations

import pytest

from qc.sheet.lines import Lines, lines_of, statements

TEXT = """\
# a note
[set]
name = "a = b"   # [not a table]
needs = [
  "dark",
  "[[zone]]",
]
note = \"\"\"
[limits]
\"\"\"

[limits."highlights.unintended_area"]
warn = 1
limits.x = 2

[[zone]]
name = "one"
[zone.limits."sharpness.blur"]
halt = 3

[[zone]]
  name = 'two'
  box = [0, 0,
         1, 1]
inline = {role = "sharp", deep = {a = 1}}
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ((), 1),
        (("set",), 2),
        (("set", "name"), 3),
        (("set", "needs"), 4),
        (("set", "note"), 8),
        (("limits",), 12),
        (("limits", "highlights.unintended_area"), 12),
        (("limits", "highlights.unintended_area", "warn"), 13),
        (("limits", "highlights.unintended_area", "limits", "x"), 14),
        (("zone",), 16),
        (("zone", 0), 16),
        (("zone", 0, "name"), 17),
        (("zone", 0, "limits", "sharpness.blur"), 18),
        (("zone", 0, "limits", "sharpness.blur", "halt"), 19),
        (("zone", 1), 21),
        (("zone", 1, "name"), 22),
        (("zone", 1, "box"), 23),
        (("zone", 1, "box", 3), 23),
        (("zone", 1, "inline", "deep", "a"), 25),
    ],
)
def test_a_key_is_found_on_its_line(path: tuple[str | int, ...], line: int) -> None:
    assert Lines(TEXT).of(path) == line


def test_a_key_that_is_missing_has_the_line_of_the_table_around_it() -> None:
    assert Lines(TEXT).of(("zone", 1, "role")) == 21
    assert Lines(TEXT).of(("nothing", "like", "it")) == 1


def test_an_empty_text_has_line_1() -> None:
    assert Lines("").of(("set", "name")) == 1


@pytest.mark.parametrize("sign", ["\u2028", "\x85", "\u2029"])
def test_only_a_line_feed_ends_a_line(sign: str) -> None:
    """TOML 1.0.0, "Spec": a newline is LF or CRLF; these may stand in a note and in text."""
    text = f'# one{sign}[zone]\r\n[set]\r\nname = "a{sign}b"\r\nlight = "flash"\r\n'
    assert Lines(text).of(("set", "light")) == 4
    assert [line.count("\n") for line in lines_of(text)] == [1, 1, 1, 1]


def test_a_statement_holds_its_lines_and_the_table_it_stands_in() -> None:
    found = [(one.first, one.end, one.table, one.header) for one in statements(TEXT)]
    assert found[:3] == [(1, 2, ("set",), True), (2, 3, ("set",), False), (3, 7, ("set",), False)]
    assert found[-3:] == [
        (21, 22, ("zone", 1), False),
        (22, 24, ("zone", 1), False),
        (24, 25, ("zone", 1), False),
    ]
    assert (17, 18, ("zone", 0, "limits", "sharpness.blur"), True) in found
