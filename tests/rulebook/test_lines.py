"""Lines of a TOML file, counted by hand."""

from __future__ import annotations

from advisor.rulebook.lines import line_of, lines_of

TEXT = '''\
id = "x"            # [not a table]
text = """
key = "in a text"
[table in a text]
"""

[when]
note = 'a # b'
[[when.any]]
name = "1"
[[when.any.all]]
name = "1.1"
[[when.any.all]]
name = "1.2"
[[when.any]]
[[when.any.all]]
name = "2.1"

[[timeline]]
facts.casing_psig = "1"
expect = [
  { at = "1h" },
  # a comment
  { at = "2h" }
]
after = 1
'''


def test_every_key_table_and_element_that_starts_a_line_is_found() -> None:
    places = lines_of(TEXT)
    assert places == {
        ("id",): 1,
        ("text",): 2,
        ("when",): 7,
        ("when", "note"): 8,
        ("when", "any", 0): 9,
        ("when", "any", 0, "name"): 10,
        ("when", "any", 0, "all", 0): 11,
        ("when", "any", 0, "all", 0, "name"): 12,
        ("when", "any", 0, "all", 1): 13,
        ("when", "any", 0, "all", 1, "name"): 14,
        ("when", "any", 1): 15,
        ("when", "any", 1, "all", 0): 16,
        ("when", "any", 1, "all", 0, "name"): 17,
        ("timeline", 0): 19,
        ("timeline", 0, "facts", "casing_psig"): 20,
        ("timeline", 0, "expect"): 21,
        ("timeline", 0, "expect", 0): 22,
        ("timeline", 0, "expect", 1): 24,
        ("timeline", 0, "after"): 26,
    }


def test_what_starts_no_line_is_where_its_nearest_neighbour_above_is() -> None:
    places = lines_of(TEXT)
    assert line_of(places, ("timeline", 0, "expect", 1, "at")) == 24
    assert line_of(places, ("when", "any", 0, "basis")) == 9
    assert line_of(places, ("timeline", 0, "facts")) == 20
    assert line_of(places, ("nothing",)) == 1
