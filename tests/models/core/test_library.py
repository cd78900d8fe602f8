"""A stale library never answers; a lacking one, or a full disk, leaves the work to numpy."""

import shutil
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from warmbranch import core
from warmbranch.core import build, library
from warmbranch.steady.solve import solve

needs_compiler = pytest.mark.skipif(build.compiler() is None, reason="there is no C compiler here")


@pytest.fixture
def copy(tmp_path):
    """Sources and libraries that may be spoilt."""
    folder = tmp_path / "core"
    shutil.copytree(build.SOURCES, folder, ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def edit(folder) -> None:
    """A correlation's leading coefficient is made another, as in nusselt_with_slopes.py."""
    file = folder / "outside_film.c"
    text = file.read_text(encoding="utf-8")
    assert "return 0.387 / " in text
    file.write_text(text.replace("return 0.387 / ", "return 0.5 / "), encoding="utf-8")


def lost(case, found, monkeypatch) -> float:
    monkeypatch.setattr(library, "_library", found)
    return float(solve(case).profile.heat_lost[0])


def test_it_is_there_and_tells_its_name():
    found = core.at_hand()
    assert found is not None
    assert core.name() == found.name
    assert found.name.removeprefix("c ") in build.names()


@needs_compiler
def test_an_edit_of_the_sources_is_followed(copy, make_case, monkeypatch):
    case = make_case(air_speed=0.0)
    before = lost(case, core.at_hand(), monkeypatch)
    own = core.name().removeprefix("c ")
    monkeypatch.setattr(build, "names", lambda: (own,))  # compiling for others takes seconds
    edit(copy)
    fresh = library.load(copy / "lib", copy)
    # Half as much again of natural convection: some tenth more heat.
    assert lost(case, fresh, monkeypatch) > 1.05 * before
    assert build.digest_in(build.library(own, copy / "lib")) == build.digest(copy)


def test_without_a_compiler_a_stale_library_does_not_answer(copy, monkeypatch):
    monkeypatch.delenv(build.COMPILER, raising=False)
    monkeypatch.setitem(sys.modules, "ziglang", None)
    monkeypatch.setattr(build, "find_spec", lambda name: None)
    assert library.load(copy / "lib", copy) is not None
    edit(copy)
    with pytest.warns(RuntimeWarning, match="older than its C sources.*ziglang"):
        assert library.load(copy / "lib", copy) is None


def test_where_nothing_can_be_written_numpy_answers(copy, monkeypatch):
    def full(*given, **named):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(build.tempfile, "TemporaryDirectory", full)
    monkeypatch.setattr(build, "compiler", lambda: ["cc"])
    edit(copy)
    with pytest.warns(RuntimeWarning, match="No space left on device"):
        assert library.load(copy / "lib", copy) is None


def test_a_library_that_is_not_there_or_not_one_is_told(tmp_path):
    empty = tmp_path / "none"
    empty.mkdir()
    with pytest.warns(RuntimeWarning, match="is not there"):
        assert library.load(empty, empty) is None  # as in a wheel without it, and no sources
    for name in build.names():
        build.library(name, empty).write_bytes(b"not a library")
    with pytest.warns(RuntimeWarning, match="cannot be built or loaded"):
        assert library.load(empty, empty) is None


@needs_compiler
def test_a_compiler_that_refuses_is_told(copy):
    (copy / "grid.c").write_text("#error not today\n", encoding="utf-8")
    with pytest.warns(RuntimeWarning, match="not today"):
        assert library.load(copy / "lib", copy) is None


def test_two_that_make_it_at_once_do_not_hinder_each_other(tmp_path, monkeypatch):
    """Two cold starts: who loads it meanwhile finds a whole one. The compiler takes its time."""
    whole = build.library(build.names()[-1])
    slow = tmp_path / "cc.py"
    slow.write_text(
        "import pathlib, sys, time\n"
        f"content = pathlib.Path({str(whole)!r}).read_bytes()\n"
        "with open(sys.argv[sys.argv.index('-o') + 1], 'wb', 0) as made:\n"
        "    made.write(content[:1000])\n"
        "    time.sleep(0.3)\n"
        "    made.write(content[1000:])\n"
    )
    monkeypatch.setenv(build.COMPILER, f"{sys.executable} {slow}")
    lib = tmp_path / "lib"
    with ThreadPoolExecutor(2) as pool:
        both = [pool.submit(build.build, lib) for _ in range(2)]
        seen = set()
        while not all(one.done() for one in both):
            seen |= {path.read_bytes() for path in lib.glob("core-*")}
            time.sleep(0.01)
    assert [one.result() for one in both] == [
        [build.library(name, lib) for name in build.names()]
    ] * 2
    assert seen | {path.read_bytes() for path in lib.iterdir()} == {whole.read_bytes()}


@pytest.mark.parametrize("name", build.names())
def test_each_build_gives_the_same_answers(name, box_sample, monkeypatch):
    """The one for older processors too, which this one can run."""
    if not library._runs_here(name):
        pytest.skip("this processor is too old for it")
    case = box_sample(48, seed=18)
    expected = solve(case)
    monkeypatch.setattr(library, "_library", library.Library(build.library(name), name))
    got = solve(case)
    np.testing.assert_allclose(got.profile.gas, expected.profile.gas, rtol=1e-10)
    np.testing.assert_allclose(got.resonance, expected.resonance, rtol=1e-10)
