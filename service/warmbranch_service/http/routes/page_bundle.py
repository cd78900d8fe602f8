"""The page's modules as one file, and its style sheets as one, put together by the service.

A phone on a slow link pays for every request. The modules stay plain files that run as they are;
here each becomes a function that gives what it exports, in the order in which they need each other:

    const dom = (() => { … return { el, svg }; })();

Lines that are comments and nothing else, empty ones and indents stay behind: they are for who
reads the files. A text that runs over lines would lose its own, and is an error. Only the forms of
import and export that the page uses are understood; anything else is an error, too.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

IMPORT = re.compile(r'^import\s+(\{[^}]*\}|\*\s+as\s+\w+)\s+from\s+"\./([\w.]+)";$', re.MULTILINE)
EXPORT = re.compile(r"^export\s+(?:async\s+)?(?:function|class|const)\s+(\w+)", re.MULTILINE)
STRAY = re.compile(r"^\s*(?:import|export)\b.*$", re.MULTILINE)
COMMENT = re.compile(r"^ *(?://.*|/\*(?:[^*]|\*(?!/))*\*/ *)\n|^ *\n", re.MULTILINE)
INDENT = re.compile(r"^ +", re.MULTILINE)
OPEN_TEXT = re.compile(r"^[^`\n]*`(?:[^`\n]*`[^`\n]*`)*[^`\n]*$", re.MULTILINE)
RENAMED = re.compile(r"(\w+)\s+as\s+(\w+)")


class UnknownFormError(ValueError):
    """A module uses an import or export that is not understood here."""


def bundle(modules: Mapping[str, str], first: str) -> str:
    """All modules that ``first`` needs, as one.

    Parameters
    ----------
    modules : mapping of str to str
        File name to source.
    first : str
        The one that nobody imports.

    Raises
    ------
    UnknownFormError
        For forms that are not understood, and for modules that import each other in a circle.
    """
    parts: list[str] = []
    done: set[str] = set()

    def add(name: str, above: tuple[str, ...]) -> None:
        if name in done:
            return
        if name in above:
            raise UnknownFormError(f"{' imports '.join((*above, name))}: a circle.")
        source = modules[name]
        for _, other in IMPORT.findall(source):
            add(other, (*above, name))
        parts.append(_function(name, source))
        done.add(name)

    add(first, ())
    return "\n".join(parts)


def _function(name: str, source: str) -> str:
    exported = EXPORT.findall(source)
    body = IMPORT.sub(_as_constant, COMMENT.sub("", source))
    body = re.sub(r"^export\s+(?=(?:async\s+)?(?:function|class|const)\b)", "", body, flags=re.M)
    stray = STRAY.search(body) or OPEN_TEXT.search(body)
    if stray is not None:
        raise UnknownFormError(f"{name}: {stray[0].strip()}")
    body = INDENT.sub("", body)
    given = ", ".join(exported)
    return f"const {_constant(name)} = (() => {{\n{body}\nreturn {{ {given} }};\n}})();\n"


def _as_constant(found: re.Match[str]) -> str:
    what, other = found[1], _constant(found[2])
    if what.startswith("*"):
        return f"const {what.split()[-1]} = {other};"
    names = RENAMED.sub(r"\1: \2", what)
    return f"const {names} = {other};"


def _constant(name: str) -> str:
    return f"part_{name.removesuffix('.js').replace('.', '_')}"


def markup(page: str) -> str:
    """The page itself without its indents: none of its elements keeps white space."""
    return INDENT.sub("", page)


def styles(screen: Mapping[str, str], printed: str) -> str:
    """Style sheets as one, without their indents; the one for paper holds on paper only."""
    whole = "\n".join([*screen.values(), f"@media print {{\n{printed}\n}}\n"])
    return INDENT.sub("", whole)
