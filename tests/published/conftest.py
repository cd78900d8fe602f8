"""Published values: every block of fixtures/published/*.toml becomes one test.

A file ``quantities_<subject>.py`` beside this one holds ``CALCULATORS``, a dict from a block's
``quantity`` to a function that takes the block's ``inputs`` as keyword arguments and returns the
number in the block's ``unit``. All such files together are the registry.
"""

from __future__ import annotations

import importlib.util
import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
FIXTURES = HERE.parents[1] / "fixtures" / "published"

STATUSES = {"exact", "published", "from memory", "common practice, no source", "computed"}
SOURCE_KEYS = {"authors", "title", "where", "read_by"}
VALUE_KEYS = {"name", "quantity", "inputs", "result", "unit", "why", "status"}
TOLERANCES = {"tolerance_relative", "tolerance_absolute"}

Calculator = Callable[..., float]


@dataclass(frozen=True)
class PublishedValue:
    """One block of one file."""

    file: str
    block: dict[str, Any]

    def __str__(self) -> str:
        return f"{self.file}:{self.block.get('name', '?')}"


def read_values(folder: Path) -> list[PublishedValue]:
    """All blocks of all files, each with its form checked."""
    values: list[PublishedValue] = []
    for path in sorted(folder.glob("*.toml")):
        with path.open("rb") as stream:
            content = tomllib.load(stream)
        missing = SOURCE_KEYS - content.get("source", {}).keys()
        assert not missing, f"{path.name}: [source] lacks {sorted(missing)}"
        assert content.get("value"), f"{path.name}: no [[value]] block"
        names = [block.get("name") for block in content["value"]]
        assert len(set(names)) == len(names), f"{path.name}: two blocks of one name"
        values += [PublishedValue(path.stem, block) for block in content["value"]]
    for value in values:
        missing = VALUE_KEYS - value.block.keys()
        assert not missing, f"{value} lacks {sorted(missing)}"
        assert TOLERANCES & value.block.keys(), f"{value} has no tolerance"
        assert value.block["status"] in STATUSES, f"{value}: unknown status"
    return values


def read_calculators(folder: Path) -> dict[str, Calculator]:
    """The registry: all ``CALCULATORS`` of all ``quantities_*.py``."""
    registry: dict[str, Calculator] = {}
    for path in sorted(folder.glob("quantities_*.py")):
        spec = importlib.util.spec_from_file_location(f"published_{path.stem}", path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        twice = registry.keys() & module.CALCULATORS.keys()
        assert not twice, f"{path.name}: calculators registered twice: {sorted(twice)}"
        registry |= module.CALCULATORS
    return registry


def check(value: PublishedValue, calculators: dict[str, Calculator]) -> None:
    """Fail unless the block's quantity has a calculator and it gives the block's result."""
    quantity = value.block["quantity"]
    assert quantity in calculators, f"{value}: no calculator registered for {quantity!r}"
    computed = float(calculators[quantity](**value.block["inputs"]))
    expected = float(value.block["result"])
    allowed = max(
        value.block.get("tolerance_relative", 0.0) * abs(expected),
        value.block.get("tolerance_absolute", 0.0),
    )
    assert math.isfinite(computed), f"{value}: computed {computed}"
    assert abs(computed - expected) <= allowed, (
        f"{value}: computed {computed!r}, published {expected!r} {value.block['unit']}, "
        f"allowed ±{allowed:.3g} ({value.block['why']})"
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "published_value" in metafunc.fixturenames:
        metafunc.parametrize("published_value", read_values(FIXTURES), ids=str)


@pytest.fixture(scope="session")
def calculators() -> dict[str, Calculator]:
    return read_calculators(HERE)


@pytest.fixture(scope="session")
def published_values() -> list[PublishedValue]:
    return read_values(FIXTURES)


@pytest.fixture
def checker() -> Callable[[PublishedValue, dict[str, Calculator]], None]:
    return check


@pytest.fixture
def reader() -> Callable[[Path], list[PublishedValue]]:
    return read_values
