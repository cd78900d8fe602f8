"""Compiling the core: sources, flags, digest. The standard library alone: it runs in the build.

The compiler is clang as the package ``ziglang`` brings it, a requirement of the build, so that no
tool-chain is asked of anyone; ``WARMBRANCH_CC`` names another. The digest of sources and flags goes
into the library, so that one left behind by an edit is known: see library.py.
"""

from __future__ import annotations

import hashlib
import os
import platform
import shlex
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path

SOURCES = Path(__file__).parent
LIBRARIES = SOURCES / "lib"

COMPILER = "WARMBRANCH_CC"
"""Environment variable with another C compiler, gcc or clang, with options if need be."""

FLAGS = (
    "-std=gnu11",
    "-O3",
    # A product and a sum in one instruction where there is one; nothing else is reordered.
    "-ffp-contract=fast",
    "-fno-math-errno",
    "-fno-trapping-math",
    "-fvisibility=hidden",
    "-fPIC",
    "-shared",
    "-g0",
    "-s",
    "-Wall",
    "-Wextra",
    "-Wno-psabi",
    "-Wno-unknown-pragmas",
)

MARK, DIGITS = b"warmbranch core ", 32
"""What stands before the digest in a library, and the digest's length."""

LEVELS = ("x86-64-v3", "x86-64-v2")
"""Processors that libraries are built for where there are two: with AVX2 and FMA, and without."""

GLIBC = "2.17"
"""Oldest C library that a wheel for Linux runs with."""


def names() -> tuple[str, ...]:
    """Builds that this kind of machine takes, the best first."""
    machine = platform.machine().lower()
    return LEVELS if machine in ("x86_64", "amd64") else (machine,)


def library(name: str, folder: Path = LIBRARIES) -> Path:
    """Where the build of that name stands."""
    return folder / f"core-{name}{'.dll' if sys.platform == 'win32' else '.so'}"


def digest(sources: Path = SOURCES) -> str | None:
    """Of the C sources and the flags; None where no sources stand."""
    files = sorted([*sources.glob("*.c"), *sources.glob("*.h")])
    if not files:
        return None
    told = hashlib.sha256(" ".join(FLAGS).encode())
    for file in files:
        told.update(file.name.encode() + b"\0" + file.read_bytes() + b"\0")
    return told.hexdigest()[:DIGITS]


def digest_in(library: Path) -> str:
    """The digest of what a library was made from; empty where there is none."""
    _, mark, rest = library.read_bytes().partition(MARK)
    return rest[:DIGITS].decode("ascii", "replace") if mark else ""


def compiler() -> list[str] | None:
    """The command of the C compiler, or None where there is none to be had."""
    own = os.environ.get(COMPILER, "").strip()
    if own:
        return shlex.split(own)
    if find_spec("ziglang") is None:
        return None
    return [sys.executable, "-m", "ziglang", "cc", "-target", _target()]


def for_level(command: list[str], name: str) -> list[str]:
    """What tells the compiler for which processor."""
    if "ziglang" in command:
        return [f"-mcpu={name.replace('-', '_') if name in LEVELS else 'baseline'}"]
    return [f"-march={name}"] if name in LEVELS else []


def build(folder: Path = LIBRARIES, sources: Path = SOURCES) -> list[Path]:
    """Compile every build into ``folder``.

    Raises
    ------
    OSError
        If there is no compiler, or no place to write.
    RuntimeError
        If the compiler refuses, with what it said.
    """
    command, told = compiler(), digest(sources)
    if command is None or told is None:
        raise OSError("there is no C compiler: install the package ziglang, or set WARMBRANCH_CC")
    folder.mkdir(exist_ok=True)
    made: list[Path] = []
    for name in names():
        # Beside its place and then put there at once: others may be loading it.
        with tempfile.TemporaryDirectory(dir=folder) as room:
            fresh = Path(room) / library(name).name
            files = [str(file) for file in sorted(sources.glob("*.c"))]
            options = [*FLAGS, *for_level(command, name), f'-DCORE_DIGEST="{MARK.decode()}{told}"']
            libm = [] if sys.platform == "win32" else ["-lm"]
            run = subprocess.run(
                [*command, *options, *files, "-o", str(fresh), *libm],
                capture_output=True,
                text=True,
            )
            if run.returncode != 0 or not fresh.exists():
                raise RuntimeError(
                    f"the C compiler refuses the core:\n{run.stderr.strip()[-2000:]}"
                )
            fresh.replace(library(name, folder))
        made.append(library(name, folder))
    return made


def wheel_platform() -> str:
    """The platform part of a wheel's tag."""
    machine = platform.machine().lower()
    if sys.platform.startswith("linux"):
        if COMPILER in os.environ or platform.libc_ver()[0] != "glibc":
            return f"linux_{machine}"
        return f"manylinux_{GLIBC.replace('.', '_')}_{machine}"
    if sys.platform == "darwin":
        return f"macosx_11_0_{machine}"
    return "win_amd64" if machine in ("amd64", "x86_64") else f"win_{machine}"


def _target() -> str:
    machine = {"amd64": "x86_64", "arm64": "aarch64"}.get(
        platform.machine().lower(), platform.machine().lower()
    )
    if sys.platform.startswith("linux"):
        glibc = platform.libc_ver()[0] == "glibc"
        return f"{machine}-linux-{'gnu.' + GLIBC if glibc else 'musl'}"
    return f"{machine}-macos.11.0" if sys.platform == "darwin" else f"{machine}-windows-gnu"
