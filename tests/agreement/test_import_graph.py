"""Who imports whom: no circle, whether among modules or among rooms.

A room is a folder of a package. Read from the text, so that what stands in a function counts (it
runs, only later) and is told apart from what only a type checker reads.

    python tests/agreement/test_import_graph.py     the rooms, bottom to top, and who uses whom
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator, Mapping
from enum import IntEnum
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = {"warmbranch": ROOT / "models", "warmbranch_service": ROOT / "service"}


class When(IntEnum):
    """When an import is made; the lower, the earlier."""

    LOADING = 0
    CALLED = 1
    CHECKING_TYPES = 2


Graph = dict[str, dict[str, When]]
"""Module or room, what it imports, and when first."""

TYPES_ONLY = {
    # What is called names the types of who calls it.
    frozenset({"warmbranch.core", "warmbranch.heat", "warmbranch.sound"}),
    frozenset({"warmbranch.core.calls", "warmbranch.sound.acoustics"}),
    # An answer tells and draws itself; its table and picture name its type.
    frozenset(
        {
            "warmbranch_service.contract.pictures",
            "warmbranch_service.contract.whole_answer",
            "warmbranch_service.fit.answer_schema",
            "warmbranch_service.fit.table",
            "warmbranch_service.learn.answer_schema",
            "warmbranch_service.learn.table",
            "warmbranch_service.length.answer_schema",
            "warmbranch_service.length.table",
            "warmbranch_service.steady.answer_schema",
            "warmbranch_service.steady.table",
            "warmbranch_service.warmup.answer_schema",
            "warmbranch_service.warmup.table",
        }
    ),
    frozenset(
        f"warmbranch_service.{room}"
        for room in ("case", "contract", "fit", "learn", "length", "steady", "warmup")
    ),
    frozenset(
        {"warmbranch_service.http.passage.metrics", "warmbranch_service.http.passage.workshop"}
    ),
    frozenset({"warmbranch_service.sweep.checks", "warmbranch_service.sweep.request"}),
}
"""Circles that only types close and that are meant; each a set of modules or rooms."""


def imports_of(tree: ast.AST, module: str, is_package: bool) -> Iterator[tuple[str, When]]:
    """Every name that a module imports, whole, and when."""
    package = module if is_package else module.rpartition(".")[0]

    def below(node: ast.AST, when: When) -> Iterator[tuple[str, When]]:
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            for child in node.body:
                yield from below(child, When.CHECKING_TYPES)
            for child in node.orelse:
                yield from below(child, when)
            return
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            when = max(when, When.CALLED)
        if isinstance(node, ast.Import):
            yield from ((alias.name, when) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1]
            base = ".".join([*above, *filter(None, [node.module])]) if node.level else node.module
            yield from ((f"{base}.{alias.name}", when) for alias in node.names)
        for child in ast.iter_child_nodes(node):
            yield from below(child, when)

    return below(tree, When.LOADING)


def modules_of(package: str, folder: Path) -> dict[str, Path]:
    """Modules of a package by name."""
    found: dict[str, Path] = {}
    for path in sorted((folder / package).rglob("*.py")):
        parts = path.relative_to(folder).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def graph_of(sources: Mapping[str, tuple[str, bool]]) -> Graph:
    """Who imports whom; ``sources`` gives each module's text, and whether it is a package."""
    graph: Graph = {}
    for module, (text, is_package) in sources.items():
        seen = graph.setdefault(module, {})
        for name, when in imports_of(ast.parse(text), module, is_package):
            target = name if name in sources else name.rpartition(".")[0]
            if target in sources and target != module:
                seen[target] = min(when, seen.get(target, when))
    return graph


def read() -> Graph:
    """The graph of both packages."""
    return graph_of(
        {
            module: (path.read_text(encoding="utf-8"), path.name == "__init__.py")
            for package, folder in PACKAGES.items()
            for module, path in modules_of(package, folder).items()
        }
    )


def room_of(module: str) -> str:
    """The folder of the package that a module stands in; a module beside them is its own."""
    return ".".join(module.split(".")[:2])


def rooms_of(graph: Graph) -> Graph:
    """The same between rooms. A package's own ``__init__``, its front door, is no room."""
    found: Graph = {}
    for module, targets in graph.items():
        if module in PACKAGES:
            continue
        seen = found.setdefault(room_of(module), {})
        for target, when in targets.items():
            if target not in PACKAGES and room_of(target) != room_of(module):
                seen[room_of(target)] = min(when, seen.get(room_of(target), when))
    return found


def circles(graph: Graph, latest: When) -> list[list[str]]:
    """Sets of nodes that reach each other by imports made no later than ``latest``.

    Tarjan's strongly connected components, of two nodes and more.
    """
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    found: list[list[str]] = []

    def visit(node: str) -> None:
        index[node] = low[node] = len(index)
        stack.append(node)
        for target, when in graph.get(node, {}).items():
            if when > latest:
                continue
            if target not in index:
                visit(target)
                low[node] = min(low[node], low[target])
            elif target in stack:
                low[node] = min(low[node], index[target])
        if low[node] == index[node]:
            place = stack.index(node)
            members, stack[place:] = stack[place:], []
            if len(members) > 1:
                found.append(sorted(members))

    for node in graph:
        if node not in index:
            visit(node)
    return sorted(found)


def told(graph: Graph, found: Iterable[list[str]]) -> str:
    """Circles with the imports that make them, for who must cut one."""
    lines: list[str] = []
    for members in found:
        lines.append(f"a circle of {len(members)}:")
        lines += [
            f"    {node} imports {target} ({when.name.lower().replace('_', ' ')})"
            for node in members
            for target, when in graph[node].items()
            if target in members
        ]
    return "\n".join(lines)


@pytest.fixture(scope="module")
def modules() -> Graph:
    return read()


@pytest.fixture(scope="module", params=["modules", "rooms"])
def graph(modules, request) -> Graph:
    return modules if request.param == "modules" else rooms_of(modules)


def test_no_circle_that_runs(graph):
    """An import in a function only puts the circle off: it counts."""
    found = circles(graph, When.CALLED)
    assert not found, told(graph, found)


def test_circles_of_types_are_named(graph):
    found = [c for c in circles(graph, When.CHECKING_TYPES) if frozenset(c) not in TYPES_ONLY]
    assert not found, told(graph, found)


def test_what_is_excused_is_still_there(modules):
    every = circles(modules, When.CHECKING_TYPES)
    every += circles(rooms_of(modules), When.CHECKING_TYPES)
    assert {frozenset(circle) for circle in every} >= TYPES_ONLY


def test_the_physics_imports_nothing_of_the_service(modules):
    assert not [
        (module, target)
        for module, targets in modules.items()
        for target in targets
        if module.startswith("warmbranch.") and target.startswith("warmbranch_service")
    ]


def test_the_whole_of_both_packages_is_read(modules):
    assert {"warmbranch.steady.solve", "warmbranch_service.http.app"} <= set(modules)
    assert sum(len(targets) for targets in modules.values()) > 500


SOURCES = {
    "p": ("", True),
    "p.low": ("", True),
    "p.low.a": ("import p.high.b\n", False),
    "p.high": ("", True),
    "p.high.b": ("import json\nfrom p.high import c\n", False),
    "p.high.c": ("X = 1\n", False),
}


@pytest.mark.parametrize(
    ("text", "when"),
    [
        ("from p.low import a\n", When.LOADING),
        ("from ..low.a import X\n", When.LOADING),
        ("try:\n    import p.low.a\nexcept ImportError:\n    pass\n", When.LOADING),
        ("def f():\n    from p.low.a import X\n", When.CALLED),
        ("class C:\n    def f(self):\n        import p.low.a\n", When.CALLED),
        ("if TYPE_CHECKING:\n    from p.low.a import X\n", When.CHECKING_TYPES),
        ("if TYPE_CHECKING:\n    import json\nelse:\n    import p.low.a\n", When.LOADING),
    ],
)
def test_a_circle_is_found(text, when):
    graph = graph_of({**SOURCES, "p.high.c": (text, False)})
    assert graph["p.high.c"]["p.low.a"] == when
    expected = [["p.high.b", "p.high.c", "p.low.a"]]
    assert circles(graph, when) == expected
    assert circles(graph, When.CHECKING_TYPES) == expected
    if when > When.LOADING:
        assert not circles(graph, When(when - 1))
    assert circles(rooms_of(graph), when) == [["p.high", "p.low"]]


def test_where_no_circle_is_none_is_found():
    graph = graph_of(SOURCES)
    assert not circles(graph, When.CHECKING_TYPES)
    assert rooms_of(graph) == {
        "p": {},
        "p.low": {"p.high": When.LOADING},
        "p.high": {},
    }


def main() -> None:
    rooms = rooms_of(read())
    found = circles(rooms, When.CALLED)
    arrows = sum(len(targets) for targets in rooms.values())
    print(
        f"{len(rooms)} rooms, {arrows} arrows, {len(found)} circles", told(rooms, found), sep="\n"
    )
    if found:
        return
    floor: dict[str, int] = {}

    def height(room: str) -> int:
        if room not in floor:
            used = [t for t, when in rooms[room].items() if when <= When.CALLED]
            floor[room] = 1 + max((height(target) for target in used), default=0)
        return floor[room]

    for room in sorted(rooms, key=lambda room: (height(room), room)):
        print(f"{floor[room]:3} {room}: {', '.join(sorted(rooms[room]))}")


if __name__ == "__main__":
    main()
