"""From the file of a finished job to what ``POST /v1/learn`` takes: a request to fit it, or a job
that the page saved.

A job of the page keeps the branch as it was built and its cuts beside it. Readings are of the
branch after a number of cuts: those after the latest are taken, with the branch as it was then;
tones are taken from every length. ``page/job.js`` does the same for the page's own questions.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, cast

from pydantic_core import PydanticCustomError

from warmbranch.warming.drive import LONGEST
from warmbranch_service.case.shop import LONGEST_NAME
from warmbranch_service.contract.errors import INVALID, Entry, Problem
from warmbranch_service.contract.fields import Quantity
from warmbranch_service.contract.strict_json import parse
from warmbranch_service.contract.units import ANGLE, LENGTH, TIME
from warmbranch_service.fit.request import WARM_FROM
from warmbranch_service.learn.request import FinishedJob

Json = dict[str, Any]
Path = tuple[str | int, ...]

PAGE_FORM = 1
"""Of the page's job files."""

USUAL_WALL_MM = 1.5
"""Where the page was told none, as it says there."""

OF_THE_PAGE = ("after_cuts", "moved", "run_min")
OF_INFRARED = ("surface", "emissivity_set", "emissivity", "reflected_degC", "takes_off_reflection")

WARM_MIN = WARM_FROM / 60
"""From then on what was read counts as of a warm branch."""

RUN_MIN = Quantity("min", TIME, low=0, high=LONGEST / 60)
LENGTH_MM = Quantity("mm", LENGTH, low=0, high=1e6)
TURN_DEG = Quantity("deg", ANGLE, low=0, high=360)
CENTRELINE = ("case", "branch", "centreline")


def finished_job(content: bytes, name: str) -> Json:
    """The job in a file, with a name: its own, or ``name`` where it has none.

    Raises
    ------
    Problem
        If the content is no job of a form that is read here.
    """
    given: Any = parse(content)
    if not isinstance(given, dict) or not isinstance(cast("Json", given).get("case"), dict):
        raise _refused(
            ("case",),
            "This file holds no case.",
            "Give a request to fit, or a job that the page saved.",
        )
    job = cast("Json", given)
    own = job.get("name") if isinstance(job.get("name"), str) else ""
    known = {"name": (own or name).strip()[:LONGEST_NAME]}
    if "warmbranch_job" in job:
        return {**known, **_of_the_page(job)}
    taken = {key: value for key, value in job.items() if key in FinishedJob.model_fields}
    return {**taken, **known}


def _of_the_page(job: Json) -> Json:
    form = job["warmbranch_job"]
    if form != PAGE_FORM:
        raise _refused(
            ("warmbranch_job",),
            f"This job is of form {form}, and form {PAGE_FORM} is read here.",
            "Open it with the page that saved it, and save it again.",
            form,
        )
    for part in ("branch", "main_pipe"):
        if not isinstance(job["case"].get(part), dict):
            raise _refused(("case", part), "This is missing.", "Give a job as the page saved it.")
    lists = {name: _list(job, name) for name in ("readings", "heard", "trims")}
    whole = [one for one in lists["readings"] if _has(one, "position_mm", "displayed_degC")]
    cuts = [
        _measured(LENGTH_MM, one, ("trims", place, "cut_mm"))
        for place, one in enumerate(lists["trims"])
    ]
    latest = max((_after(one) for one in whole), default=len(cuts))
    case = _case(job["case"])
    built = _length(case["branch"])
    told = [
        (place, one)
        for place, one in enumerate(lists["heard"])
        if _has(one, "quiet_rpm")
        and not (one.get("moved") and not _has(one, "centreline_length_mm"))
    ]
    readings = [_reading(one) for one in whole if _after(one) == latest]
    heard = [_heard(one, built - sum(cuts[: _after(one)])) for _, one in told]
    of_readings = _minutes(job, ("readings_min",))
    run = [(one, of_readings) for one in readings if one.get("time_s") is None]
    run += [
        (made, _minutes(one, ("heard", place, "run_min")))
        for made, (place, one) in zip(heard, told, strict=True)
    ]
    request = {
        "case": {**case, "branch": _cut(case["branch"], sum(cuts[:latest]))},
        "readings": readings,
        "heard": heard,
        **_timed(run),
    }
    return {**request, **_as_read(job, request)}


def _as_read(job: Json, request: Json) -> Json:
    """How it was read, where it was warm; how it was while it warmed, the warm-up has."""
    said, readings = job.get("while_read"), cast("list[Json]", request["readings"])
    times = [one["time_s"] for one in (request, *readings) if one.get("time_s") is not None]
    warming = any(isinstance(time, (int, float)) and time < WARM_FROM for time in times)
    speed = cast("Json", said).get("air_speed_m_s") if isinstance(said, dict) else None
    return {"while_read": said} if readings and not warming and speed is not None else {}


def _minutes(given: Json, path: Path) -> float | None:
    """How long the engine had run from cold, or None where nobody said."""
    return None if given.get(str(path[-1])) is None else _measured(RUN_MIN, given, path)


def _timed(run: Sequence[tuple[Json, float | None]]) -> Json:
    """Give what was read and heard its time; what is untold goes with the earliest that is told."""
    told = [(one, minutes) for one, minutes in run if minutes is not None]
    whole, least = len(told) == len(run), min((minutes for _, minutes in told), default=0.0)
    warm = least >= WARM_MIN
    if not told or (warm and not whole):
        return {}
    if not warm:
        for one, minutes in told:
            one["time_s"] = minutes * 60
    return {"time_s": least * 60} if warm or not whole else {}


def _list(job: Json, name: str) -> list[Json]:
    found = job.get(name, [])
    entries = cast("list[object]", found) if isinstance(found, list) else [found]
    if not all(isinstance(one, dict) for one in entries):
        raise _refused((name,), "This is no list of objects.", "Give a job as the page saved it.")
    return cast("list[Json]", entries)


def _has(one: Json, *names: str) -> bool:
    return all(one.get(name) is not None for name in names)


def _after(one: Json) -> int:
    """Number of cuts after which something was read or heard."""
    found = one.get("after_cuts", 0)
    return found if isinstance(found, int) and found >= 0 else 0


def _case(given: Json) -> Json:
    """With what the page takes for what is left empty."""
    case = {**given}
    for part in ("branch", "main_pipe"):
        wall = case[part].get("wall_thickness_mm")
        case[part] = {**case[part], "wall_thickness_mm": USUAL_WALL_MM if wall is None else wall}
    engine = case.get("engine")
    if isinstance(engine, dict) and cast("Json", engine).get("cylinders") is None:
        del case["engine"]
    return case


def _measured(kind: Quantity, given: Json, path: Path) -> float:
    """A quantity at the end of ``path``, or a refusal of what stands there."""
    value = given.get(str(path[-1]))
    try:
        found = kind.check(value)
    except PydanticCustomError as error:
        told = error.context or {}
        shown = value if isinstance(value, (int, float, str)) else None
        raise _refused(path, told["detail"], told["remedy"], shown) from None
    assert found is not None, "null is no value here"
    return found


def _pieces(branch: Json) -> list[Json]:
    found = branch.get("centreline")
    if found is None:
        return []
    entries = cast("list[object]", found) if isinstance(found, list) else [found]
    if not all(isinstance(one, dict) for one in entries):
        raise _refused(CENTRELINE, "This is no list of pieces.", "Give straights and bends.")
    return cast("list[Json]", entries)


def _length(branch: Json) -> float:
    """Of the centre-line, mm."""
    pieces = _pieces(branch)
    if not pieces:
        return _measured(LENGTH_MM, branch, ("case", "branch", "length_mm"))
    return sum(_piece_length(piece, place) for place, piece in enumerate(pieces))


def _piece_length(piece: Json, place: int) -> float:
    if "straight_mm" in piece:
        return _measured(LENGTH_MM, piece, (*CENTRELINE, place, "straight_mm"))
    turn = _measured(TURN_DEG, piece, (*CENTRELINE, place, "bend_deg"))
    return math.radians(turn) * _measured(LENGTH_MM, piece, (*CENTRELINE, place, "bend_radius_mm"))


def _cut(branch: Json, cut: float) -> Json:
    """The branch with so many mm taken off at its cap."""
    if cut <= 0:
        return branch
    left, pieces = cut, list(_pieces(branch))
    if not pieces:
        return {**branch, "length_mm": _length(branch) - cut}
    while left > 0 and pieces:
        last = pieces.pop()
        length = _piece_length(last, len(pieces))
        if length > left:
            rest = 1 - left / length
            if "straight_mm" in last:
                pieces.append({**last, "straight_mm": length * rest})
            else:
                turn = _measured(TURN_DEG, last, (*CENTRELINE, len(pieces), "bend_deg"))
                pieces.append({**last, "bend_deg": turn * rest})
        left -= length
    return {**branch, "centreline": pieces}


def _reading(one: Json) -> Json:
    aside: Sequence[str] = OF_THE_PAGE
    if one.get("thermometer") == "contact":
        aside = (*aside, *OF_INFRARED)
    return {name: value for name, value in one.items() if value is not None and name not in aside}


def _heard(one: Json, length: float) -> Json:
    own = one.get("centreline_length_mm")
    found = {"quiet_rpm": one["quiet_rpm"], "centreline_length_mm": length if own is None else own}
    if one.get("uncertainty_rpm") is not None:
        found["uncertainty_rpm"] = one["uncertainty_rpm"]
    return found


def _refused(path: Path, detail: str, remedy: str, value: object = None) -> Problem:
    entry = Entry(path, "no_job_file", detail, remedy, value)
    return Problem(INVALID, entry.sentence(), entries=[entry])
