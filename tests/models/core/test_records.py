"""The records that Python fills are those that the C files read."""

import ctypes
import re

import pytest

from warmbranch.core import build, records

TEXT = "\n".join(
    file.read_text(encoding="utf-8")
    for file in [*sorted(build.SOURCES.glob("*.h")), *sorted(build.SOURCES.glob("*.c"))]
)

RECORDS = {
    "mixtures": records.Mixtures,
    "tolerances": records.Tolerances,
    "newton_rules": records.NewtonRules,
    "pieces": records.Pieces,
    "search_rules": records.SearchRules,
    "grid_rules": records.GridRules,
    "wall_rules": records.WallRules,
    "cell_means": records.CellMeans,
    "heat_job": records.HeatJob,
    "grid_job": records.GridJob,
    "discretise_job": records.DiscretiseJob,
    "sound_job": records.SoundJob,
    "effective_job": records.EffectiveJob,
    "steady_rules": records.SteadyRules,
    "steady_job": records.SteadyJob,
    "store": records.Store,
    "forcing": records.Forcing,
    "stepping_rules": records.SteppingRules,
    "warm_job": records.WarmJob,
}


def of_c(name: str) -> list[tuple[str, str]]:
    """Names and kinds of a C struct's fields."""
    body = re.search(rf"struct {name} \{{(.*?)\n\}};", TEXT, re.DOTALL)[1]
    body = re.sub(r"/\*.*?\*/", "", body, flags=re.DOTALL)
    found = []
    for statement in filter(str.strip, body.split(";")):
        words = re.sub(r"\bconst\b", "", statement).strip()
        kind = re.match(r"(struct \w+|double complex|double|int64_t)", words)[1]
        for item in words[len(kind) :].split(","):
            pointer, place, count = re.fullmatch(r"(\*?)\s*(\w+)(\[\d\])?", item.strip()).groups()
            found.append((place, "pointer" if pointer else kind + (count or "")))
    return found


def of_python(record: type[ctypes.Structure]) -> list[tuple[str, str]]:
    structs = {value: f"struct {name}" for name, value in RECORDS.items()}
    plain = {
        ctypes.c_double: "double",
        ctypes.c_int64: "int64_t",
        ctypes.c_void_p: "pointer",
        **structs,
    }
    return [(name, plain[kind]) for name, kind in record._fields_]


@pytest.mark.parametrize("name", RECORDS)
def test_fields(name):
    assert of_python(RECORDS[name]) == of_c(name)


def test_a_design_is_a_case():
    told = [path.rpartition(".")[::2] for path in records.DESIGN]
    # The main pipe's numbers that a branch has too are told apart in C by a prefix.
    own = {"branch": "", "metal": "", "main_pipe": "main_"}
    shared = {
        "outside_diameter",
        "wall_thickness",
        "gas_temperature",
        "skin_temperature",
        "emissivity",
    }
    expected = [
        "conductivity"
        if part == "metal"
        else own[part] + name
        if part == "main_pipe" and name in shared
        else name
        for part, name in told
    ]
    fields = of_c("design")
    assert [name for name, _ in fields] == expected
    size = sum(int(kind[len("double[") : -1] or 1) if "[" in kind else 1 for _, kind in fields)
    assert size == records.NUMBERS
