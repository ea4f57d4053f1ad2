from __future__ import annotations

import pytest

from qc.sheet.lines import Lines

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
