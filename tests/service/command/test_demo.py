"""The demos that ship are those in the fixtures."""

from __future__ import annotations

from pathlib import Path

import pytest

from warmbranch_service.demo import DEMOS, demo_text

FIXTURES = Path(__file__).parents[3] / "fixtures" / "requests"


@pytest.mark.parametrize("name", list(DEMOS))
def test_shipped_demo_is_the_fixture(name):
    assert (FIXTURES / DEMOS[name][0]).read_text(encoding="utf-8") == demo_text(name)


@pytest.mark.parametrize("name", list(DEMOS))
def test_demo_says_that_it_is_invented(name):
    assert "invented" in DEMOS[name][1]
