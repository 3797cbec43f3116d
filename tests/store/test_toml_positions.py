"""Where each key of a TOML document stands, against what stands there."""

from __future__ import annotations

import tomllib
from typing import Any

import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from beltpitch.store.toml_positions import Path, nearest, places

DOCUMENT = '''\
# a # comment [not.a.table]
top = "a # b ] } = c"
"quoted key" = 'x = [1'

[machine]   # with a comment
name.first = "N"
text = """
[no.table]
not = "a key"  \\"""
"""
raw = \'\'\'
also = 'not'
\'\'\'
list = [ # a comment = 1
  "a", [1, 2],
  { in = 1, side = { deep = 2 } },
]
when = 2026-03-01T10:00:00Z

[[many]]
a = 1
[[many]]
a = 2
[many.sub]
b = 3
'''


def test_each_key_is_found_where_it_stands() -> None:
    tomllib.loads(DOCUMENT)  # it is TOML
    found = places(DOCUMENT)
    expected: dict[Path, tuple[int, int]] = {
        ("top",): (2, 1),
        ("quoted key",): (3, 1),
        ("machine",): (5, 2),
        ("machine", "name"): (6, 1),
        ("machine", "name", "first"): (6, 6),
        ("machine", "text"): (7, 1),
        ("machine", "raw"): (11, 1),
        ("machine", "list"): (14, 1),
        ("machine", "when"): (18, 1),
        ("many",): (20, 3),
        ("many", "a"): (21, 1),
        ("many", "sub", "b"): (25, 1),
    }
    assert {path: found[path] for path in expected} == expected
    assert nearest(found, ("machine", "list", 2, "side", "deep")) == found["machine", "list"]
    assert nearest(found, ("many", 1, "sub", "b")) == found["many",]
    assert nearest(found, ("nowhere",)) == (1, 1)


keys = st.text(min_size=1, max_size=8)
values: st.SearchStrategy[Any] = st.recursive(
    st.integers(-9, 9) | st.booleans() | st.text(max_size=12) | st.dates(),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(keys, inner, min_size=1, max_size=3)
    ),
    max_leaves=12,
)


def paths_of(value: Any, path: Path = ()) -> list[Path]:
    if not isinstance(value, dict):
        return []
    return [
        p for key, inner in value.items() for p in [(*path, key), *paths_of(inner, (*path, key))]
    ]


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(keys, values, max_size=4))
def test_every_key_of_any_document_has_its_place(document: dict[str, Any]) -> None:
    text = tomlkit.dumps(document)
    if tomllib.loads(text) != document:  # the writer's own slip, as with a lone return
        return
    found, lines = places(text), text.split("\n")
    for path in paths_of(document):
        line, column = found[path]
        at = lines[line - 1][column - 1 :]
        key = at[: at.index("]") if "]" in at and "=" not in at else None]
        assert key.startswith((str(path[-1]), '"', "'"))
