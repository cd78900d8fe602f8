"""Every published value, and proof that this test can fail."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest


def test_value_is_reproduced(published_value, calculators, checker):
    checker(published_value, calculators)


def test_there_is_a_value_of_every_kind(published_values):
    kinds = {value.block["status"] for value in published_values}
    assert {"exact", "published", "from memory", "common practice, no source"} <= kinds


def test_every_calculator_is_used(published_values, calculators):
    used = {value.block["quantity"] for value in published_values}
    assert not calculators.keys() - used


def altered(value, **changes):
    return dataclasses.replace(value, block={**value.block, **changes})


def test_a_wrong_result_is_caught(published_values, calculators, checker):
    """Every block, moved by three tolerances, must fail: no tolerance swallows its own value."""
    for value in published_values:
        result = value.block["result"]
        allowed = max(
            value.block.get("tolerance_relative", 0.0) * abs(result),
            value.block.get("tolerance_absolute", 0.0),
        )
        for wrong in (result + 3 * allowed, result - 3 * allowed):
            # The tolerance may be relative to the altered result; hold it at its printed size.
            fixed = altered(value, result=wrong, tolerance_relative=0.0, tolerance_absolute=allowed)
            with pytest.raises(AssertionError, match="computed"):
                checker(fixed, calculators)


def test_a_block_without_calculator_is_caught(published_values, calculators, checker):
    orphan = altered(published_values[0], quantity="length of a piece of string")
    with pytest.raises(AssertionError, match="no calculator registered"):
        checker(orphan, calculators)


GOOD = """
[source]
authors = "A. Nobody"
title = "A title"
where = "table 1"
read_by = "from memory"

[[value]]
name = "one"
quantity = "a quantity"
inputs = { a = 1.0 }
result = 1.0
unit = "1"
tolerance_relative = 1e-3
why = "half a unit of the last printed digit"
status = "from memory"
"""


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('title = "A title"', "", "lacks"),
        ("tolerance_relative = 1e-3", "", "no tolerance"),
        ('why = "half a unit of the last printed digit"', "", "lacks"),
        ('status = "from memory"', 'status = "certain"', "unknown status"),
        (GOOD[GOOD.index("[[value]]") :], "", "no .*block"),
        (GOOD[GOOD.index("[[value]]") :], 2 * GOOD[GOOD.index("[[value]]") :], "one name"),
    ],
)
def test_a_badly_formed_file_is_caught(tmp_path: Path, reader, old, new, message):
    (tmp_path / "Good.toml").write_text(GOOD)
    assert len(reader(tmp_path)) == 1
    (tmp_path / "Bad.toml").write_text(GOOD.replace(old, new))
    with pytest.raises(AssertionError, match=message):
        reader(tmp_path)
