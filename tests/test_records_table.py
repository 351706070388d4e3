"""The table of docs/records.md names only tests that there are."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(settings.BASE_DIR)
TABLE = (ROOT / "docs" / "records.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| (\d+)\. .*\|$", TABLE, re.MULTILINE)
NAMED = sorted(set(re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", TABLE)))


@cache
def functions_of(path: str) -> frozenset[str]:
    """The names of the test functions of a file."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return frozenset(node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


@pytest.mark.parametrize(("path", "name"), NAMED)
def test_each_test_that_is_named_is_there(path: str, name: str) -> None:
    """Who renames or removes a test that proves a row is told."""
    assert (ROOT / path).is_file(), path
    assert name in functions_of(path)


def test_each_row_is_shown_by_a_test() -> None:
    """All sixteen are there, in order, each with a test."""
    assert [str(number) for number in range(1, 17)] == ROWS
    for line in TABLE.splitlines():
        if re.match(r"\| \d+\. ", line):
            assert re.search(r"`tests/[\w/]+\.py::\w+`", line), line[:60]
