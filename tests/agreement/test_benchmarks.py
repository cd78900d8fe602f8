"""Benchmarks run by hand, so that nobody notices when what they import has moved: this does."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path

import pytest
from break_on_purpose import FILES, FORMULAS, REFUSED, ROOT

FOLDER = Path(__file__).parents[1] / "benchmarks"
OURS = ("warmbranch", "warmbranch_service")


@pytest.mark.parametrize("file", sorted(FOLDER.glob("*.py")), ids=lambda file: file.stem)
def test_what_a_benchmark_imports_of_ours_is_there(file):
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if not isinstance(node, ast.ImportFrom) or node.module is None:
            continue
        if node.module.partition(".")[0] in OURS:
            module = importlib.import_module(node.module)
            for name in node.names:
                if not hasattr(module, name.name):
                    importlib.import_module(f"{node.module}.{name.name}")


@pytest.mark.parametrize("one", [*FORMULAS, *FILES, *REFUSED], ids=lambda one: one.what)
def test_what_is_broken_on_purpose_is_there(one):
    assert (ROOT / one.file).read_text(encoding="utf-8").count(one.old) == 1
