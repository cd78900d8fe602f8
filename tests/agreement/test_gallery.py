"""The gallery runs, draws its pictures, and says what is so."""

from __future__ import annotations

import ast
import importlib
import io
import json
import sys
from pathlib import Path

import pytest

from warmbranch_service.demo import demo_text

matplotlib = pytest.importorskip("matplotlib")
pytest.importorskip("pandas")
matplotlib.use("Agg")

GALLERY = Path(__file__).parents[2] / "fixtures" / "gallery"
SCRIPTS = sorted(p.stem for p in GALLERY.glob("*.py") if p.stem != "van")


@pytest.fixture(autouse=True)
def _beside_the_gallery(monkeypatch):
    monkeypatch.syspath_prepend(str(GALLERY))
    yield
    for name in (*SCRIPTS, "van"):
        sys.modules.pop(name, None)
    matplotlib.pyplot.close("all") if hasattr(matplotlib, "pyplot") else None


@pytest.mark.parametrize("name", SCRIPTS)
def test_script_draws_its_picture(name):
    figure = importlib.import_module(name).main()
    drawn = io.BytesIO()
    figure.savefig(drawn, format="png", dpi=80)
    assert drawn.getbuffer().nbytes > 10_000
    assert (GALLERY / f"{name}.png").stat().st_size > 10_000


def test_pictures_are_of_the_van_that_the_readme_tells_of():
    told = json.loads(demo_text("van"))["case"]
    assert json.loads(importlib.import_module("van").van().to_json())["case"] == told


def test_every_file_is_told():
    told = (GALLERY / "README.md").read_text(encoding="utf-8")
    for path in GALLERY.iterdir():
        if path.suffix in (".py", ".ipynb", ".svg") and path.stem != "van":
            assert f"`{path.name}`" in told


def test_notebook_runs():
    """Cell by cell, as a notebook would: the last expression of each is its value."""
    notebook = json.loads((GALLERY / "an_evening_in_the_shed.ipynb").read_text(encoding="utf-8"))
    names: dict[str, object] = {}
    for cell in notebook["cells"]:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []  # what it would say here is not kept: it would go stale
            _run("".join(cell["source"]), names)
    assert 2200 < names["before"] < 2350  # built long: too low
    assert names["answer"].centreline_length_mm < names["answer"].build_length_mm
    assert 0 < names["cut"] < names["answer"].build_length_mm - 1000


def _run(source: str, names: dict[str, object]) -> object:
    tree = ast.parse(source)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "cell", "exec"), names)
    if last is None:
        return None
    value = eval(compile(ast.Expression(last.value), "cell", "eval"), names)
    shown = getattr(value, "_repr_html_", None)
    return shown() if callable(shown) else repr(value)
