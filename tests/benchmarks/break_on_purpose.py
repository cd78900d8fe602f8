"""Break formulas, files and refusals on purpose, one at a time, and see which tests notice.

    python tests/benchmarks/break_on_purpose.py [--only WORDS] [--list]

Works on a copy of the tree. Each break is one edit of the text; a break whose text is not found
once is an error, so that this list follows the code. Before anything is broken the same tests must
pass. A break that no test notices makes the exit status 1. Asked are the tests of its room and of
what stands on it, not all. Some minutes of one core.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
LIBRARIES = "models/warmbranch/core/lib"
MOST = 25
"""Failures after which a run has told enough."""

QUIET = ("-q", "--tb=no", "-rfE", "-p", "no:cacheprovider", f"--maxfail={MOST}")


class Break(NamedTuple):
    """One edit, and the tests that are asked."""

    what: str
    file: str
    old: str
    new: str
    tests: str


HEAT, SOUND, FIT = "models/warmbranch/heat/", "models/warmbranch/sound/", "models/warmbranch/fit/"
GAS, CASE = "models/warmbranch/gas/", "models/warmbranch/case/"
ASKED = "service/warmbranch_service/"
CONTRACT, COMMAND = "tests/service/contract/", "tests/service/command/"
REFUSALS = f"{CONTRACT}test_refusals.py {CONTRACT}test_refusals_of_objects.py"
PUBLISHED = "tests/published"

FORMULAS = [
    Break(
        "natural convection: Churchill & Chu's 0.387",
        HEAT + "nusselt_with_slopes.py",
        "Factors(0.387 *",
        "Factors(0.5 *",
        f"tests/models/heat/test_films.py tests/models/core/test_agreement.py {PUBLISHED}",
    ),
    Break(
        "the same in the C core",
        "models/warmbranch/core/outside_film.c",
        "return 0.387 / pow(",
        "return 0.5 / pow(",
        "tests/models/core/test_agreement.py",
    ),
    Break(
        "radiation: slope of the fourth power",
        HEAT + "radiation.py",
        "4 * strength * cubed",
        "3 * strength * cubed",
        "tests/models/heat/test_radiation.py tests/models/heat/test_heat_balance.py",
    ),
    Break(
        "combustion: oxygen that hydrogen takes",
        GAS + "combustion.py",
        "self.hydrogen / 4 -",
        "self.hydrogen / 2 -",
        f"tests/models/gas/test_combustion.py {PUBLISHED}",
    ),
    Break(
        "saturation: pressure over water",
        GAS + "saturation.py",
        "return quarter**4 * 1e6",
        "return quarter**4 * 1.01e6",
        f"tests/models/gas/test_saturation.py {PUBLISHED}",
    ),
    Break(
        "mouth correction of a wide branch",
        SOUND + "mouth.py",
        "0.9326 - 0.6196 * ratio",
        "0.9326 - 0.5196 * ratio",
        f"tests/models/sound/test_mouth.py {PUBLISHED}",
    ),
    Break(
        "losses at the wall of a wide tube: second term",
        SOUND + "viscothermal.py",
        "s * (tail - 1 / 2)",
        "s * (tail - 1 / 3)",
        "tests/models/sound/test_viscothermal.py",
    ),
    Break(
        "one gas temperature: a quarter of a wave",
        SOUND + "resonance.py",
        "/ AIR_REFERENCE) / (4 * length)",
        "/ AIR_REFERENCE) / (2 * length)",
        f"tests/models/sound/test_resonance.py {PUBLISHED}",
    ),
    Break(
        "firing frequency: revolutions a cycle",
        CASE + "engine.py",
        "return cylinders / cycle.revolutions",
        "return cylinders * cycle.revolutions",
        f"tests/models/case/test_engine.py {PUBLISHED}",
    ),
    Break(
        "thermometer: what the skin sends of what is seen",
        FIT + "thermometer.py",
        "band_temperature(emitted / emissivity)",
        "band_temperature(emitted * emissivity)",
        f"tests/models/fit/test_thermometer.py {PUBLISHED}",
    ),
    Break(
        "wall: heat capacity's slope with temperature",
        "models/warmbranch/warming/storage.py",
        "capacity[0] + temperature * (capacity[1] +",
        "capacity[0] + temperature * (2 * capacity[1] +",
        "tests/models/warming/test_storage.py",
    ),
    Break(
        "the gas that swings with a step of the bore, half on one side",
        "models/warmbranch/core/pieces.c",
        "ratio[left] += added / 2 /",
        "ratio[left] += added / 4 /",
        "tests/models/steady/test_stepped.py tests/models/core/test_agreement.py",
    ),
    Break(
        "mouth: what the tone exchanges, in the C core",
        "models/warmbranch/core/heat_balance.c",
        "+ d->tone_exchange * tone",
        "+ 0.5 * d->tone_exchange * tone",
        "tests/models/heat/test_collocation.py",
    ),
    Break(
        "fit: draws of the posterior weighed as if they were the prior's",
        FIT + "ensemble.py",
        "shared.log_evidence - np.sum(white**2, axis=1) / 2",
        "-np.sum(white**2, axis=1) / 2",
        "tests/models/fit/test_solve.py",
    ),
]

FILES = [
    Break(
        "a table gone on with: rows that are there already",
        ASKED + "sweep/writers.py",
        "rows(self._plan, chunk)[skipped:]",
        "rows(self._plan, chunk)[: len(chunk.rows) - skipped]",
        f"{COMMAND}test_sweep_damage.py",
    ),
    Break(
        "lines gone on with: the chunk to begin with",
        ASKED + "sweep/writers.py",
        "self._plan.lines_of(chunk, self.next_line)",
        "self._plan.lines_of(chunk, 1)",
        f"{COMMAND}test_sweep.py",
    ),
    Break(
        "readings as a spreadsheet program saves them",
        ASKED + "command/terminal.py",
        '(b"\\xff\\xfe", b"\\xfe\\xff")',
        '(b"\\xfe\\xff",)',
        f"{COMMAND}test_readings_table.py",
    ),
    Break(
        "fewer pieces apart from more",
        CASE + "geometry.py",
        "value[index][:, :most]",
        "value[index]",
        "tests/models/case/test_geometry.py",
    ),
]

REFUSED = [
    Break(
        "a wall thicker than the tube's radius",
        CASE + "geometry.py",
        "if not 0 < wall_thickness < outside_diameter / 2:",
        "if False:",
        "tests/models/case/test_geometry.py",
    ),
    Break(
        "a bend tighter than the tube",
        CASE + "geometry.py",
        "if piece.bend_radius <= outside_diameter / 2:",
        "if False:",
        "tests/models/case/test_geometry.py",
    ),
    Break(
        "mole fractions that do not sum to one",
        GAS + "gas.py",
        "if abs(total - 1) > SUM_TOLERANCE:",
        "if False:",
        "tests/models/gas/test_gas.py",
    ),
    Break(
        "the same in a request",
        ASKED + "case/gas.py",
        "if abs(total - 1) > SUM_TOLERANCE:",
        "if False:",
        REFUSALS,
    ),
    Break(
        "a number that is not finite",
        ASKED + "contract/fields.py",
        "if not math.isfinite(number):",
        "if False:",
        REFUSALS,
    ),
    Break(
        "a branch shorter than three bores, or too long",
        ASKED + "case/branch.py",
        "if not shortest * (1 - ROUNDING) <= along <= LONGEST_MM * (1 + ROUNDING):",
        "if False:",
        REFUSALS,
    ),
    Break(
        "a unit of another kind",
        ASKED + "contract/units.py",
        "raise UnknownUnitError(found[2])",
        "raise NoQuantityError(text)",
        f"{CONTRACT}test_units.py {REFUSALS}",
    ),
    Break(
        "firing angles that are not one a cylinder",
        ASKED + "case/schema.py",
        "if angles is not None and len(angles) != self.cylinders:",
        "if False:",
        REFUSALS,
    ),
    Break(
        "a loudness curve that does not rise",
        ASKED + "length/target.py",
        "if here <= before:",
        "if False:",
        "tests/service/length/test_length_refusals.py",
    ),
    Break(
        "readings that cannot be",
        FIT + "readings.py",
        "if np.any(wrong):",
        "if False:",
        "tests/models/fit/test_posterior.py",
    ),
    Break(
        "draws that are no numbers of a calibration",
        "models/warmbranch/belief/calibration.py",
        "if unknown or len(set(self.names)) != len(self.names):",
        "if False:",
        "tests/models/belief",
    ),
]


def copy_of_the_tree(place: Path) -> None:
    """What git tracks, as it stands, and the compiled core."""
    for name in subprocess.check_output(["git", "ls-files"], cwd=ROOT, text=True).splitlines():
        if (ROOT / name).is_file():
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, place / name)
    if (ROOT / LIBRARIES).is_dir():
        shutil.copytree(ROOT / LIBRARIES, place / LIBRARIES)


def failing(place: Path, tests: str) -> list[str]:
    """Tests that fail there; a run that breaks off counts as one that does."""
    run = subprocess.run(
        [sys.executable, "-m", "pytest", *QUIET, *tests.split()],
        cwd=place,
        env=os.environ | {"PYTHONPATH": f"{place / 'models'}{os.pathsep}{place / 'service'}"},
        capture_output=True,
        text=True,
    )
    found = re.findall(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", run.stdout, re.MULTILINE)
    if run.returncode not in (0, 1, 2):
        raise RuntimeError(f"pytest ended with {run.returncode}:\n{run.stdout}\n{run.stderr}")
    return found or (["the run broke off"] if run.returncode else [])


def by_file(tests: list[str]) -> str:
    """Names of tests behind that of their file, once each, without what varies in them."""
    files: dict[str, list[str]] = {}
    for test in tests:
        file, _, name = test.partition("::")
        names = files.setdefault(file.removeprefix("tests/"), [])
        if (plain := name.partition("[")[0]) not in names:
            names.append(plain)
    return "; ".join(f"{file}: {', '.join(names)}" for file, names in files.items())


def write(path: Path, text: str) -> None:
    """Write, with a time of its own: bytecode is told by the second and the size of its source."""
    time = path.stat().st_mtime + 10
    path.write_text(text, encoding="utf-8")
    os.utime(path, (time, time))


def broken(place: Path, one: Break) -> list[str]:
    """Tests that notice."""
    path = place / one.file
    whole = path.read_text(encoding="utf-8")
    if whole.count(one.old) != 1:
        raise RuntimeError(f"{one.file} holds {one.old!r} {whole.count(one.old)} times, not once")
    libraries = place / LIBRARIES
    kept = place / "libraries-kept"
    if one.file.endswith(".c") and libraries.is_dir():
        shutil.copytree(libraries, kept)
    write(path, whole.replace(one.old, one.new))
    try:
        return failing(place, one.tests)
    finally:
        write(path, whole)
        if kept.is_dir():
            shutil.rmtree(libraries)
            kept.rename(libraries)


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    options.add_argument("--only", default="", help="breaks whose description holds this")
    options.add_argument("--list", action="store_true", help="say what would be broken")
    given = options.parse_args()
    chosen = [one for one in (*FORMULAS, *FILES, *REFUSED) if given.only in one.what]
    if given.list:
        print(*(f"{one.what}: {one.file}" for one in chosen), sep="\n")
        return 0
    unnoticed = 0
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        copy_of_the_tree(place)
        asked = sorted({test for one in chosen for test in one.tests.split()})
        if before := failing(place, " ".join(asked)):
            print("These fail before anything is broken:", *before, sep="\n  ")
            return 1
        print("| what is broken | tests that notice | which |\n| --- | ---: | --- |", flush=True)
        for one in chosen:
            found = broken(place, one)
            unnoticed += not found
            most = "at least " if len(found) >= MOST else ""
            print(
                f"| {one.what} | {most}{len(found)} | {by_file(found) or '**none**'} |", flush=True
            )
    return 1 if unnoticed else 0


if __name__ == "__main__":
    sys.exit(main())
