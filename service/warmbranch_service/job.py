"""One branch in a Python program: its questions asked without a service.

    job = Job(
        branch={"outside_diameter_mm": 48.3, "wall_thickness_mm": 1.5, "length_mm": 1200},
        main_pipe={"outside_diameter_mm": 60.3, "wall_thickness_mm": 1.5,
                   "gas_temperature_degC": 310, "mass_flow_kg_h": 95},
        engine={"cylinders": 4},
    )
    job.length(rpm=2350).centreline_length_mm

Words, units, checks and refusals are the service's, and ``answer.to_json()`` is what it would send,
to the byte: a request goes through the same door, as JSON.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from warmbranch_service.fit.answer_schema import FitAnswer
    from warmbranch_service.learn.answer_schema import LearnAnswer
    from warmbranch_service.length.answer_schema import LengthAnswer
    from warmbranch_service.steady.answer_schema import SteadyAnswer
    from warmbranch_service.sweep.whole import Swept
    from warmbranch_service.warmup.answer_schema import WarmupAnswer

Json = Mapping[str, Any]
PARTS = ("branch", "main_pipe", "surroundings", "engine", "closures", "guessed")


class Job:
    """One branch on one pipe, in the words and units of the JSON.

    Parameters
    ----------
    branch, main_pipe, surroundings, engine, closures : mapping, optional
        The parts of a request's ``case``. A number is in the unit that its field's name ends with;
        a string carries its own: ``"2.25 in"``, ``"590 F"``.
    guessed : sequence of str or mapping, optional
        What of these was guessed, as ``case.guessed`` has it.
    asked : mapping, optional
        Further fields of a request: ``target``, ``readings``, ``attenuation``. Each question takes
        those that are its own.

    Notes
    -----
    Nothing is checked before a question is asked. Then everything is, as the service does it, and
    what is impossible raises :class:`warmbranch_service.Problem`, whose ``errors`` name the field,
    the value, the unit and the remedy.
    """

    def __init__(
        self,
        branch: Json | None = None,
        main_pipe: Json | None = None,
        surroundings: Json | None = None,
        engine: Json | None = None,
        closures: Json | None = None,
        *,
        guessed: Sequence[str | Json] | None = None,
        asked: Json | None = None,
    ) -> None:
        given = (branch, main_pipe, surroundings, engine, closures, guessed)
        pairs = zip(PARTS, given, strict=True)
        case = {name: part for name, part in pairs if part is not None}
        self._request: dict[str, Any] = copy.deepcopy({"case": case, **(asked or {})})

    @classmethod
    def from_json(cls, text: str | bytes) -> Job:
        """The job in a request.

        Raises
        ------
        Problem
            If the text is no JSON object.
        """
        from warmbranch_service.contract.errors import INVALID, Entry, Problem
        from warmbranch_service.contract.strict_json import parse

        value = parse(text.encode() if isinstance(text, str) else text)
        if not isinstance(value, dict):
            entry = Entry((), "wrong_type", "This must be a JSON object.", "Give a JSON object.")
            raise Problem(INVALID, entry.sentence(), entries=[entry])
        job = cls()
        job._request = cast("dict[str, Any]", value)
        return job

    @classmethod
    def read(cls, path: str | PathLike[str]) -> Job:
        """The job in a file that holds a request."""
        return cls.from_json(Path(path).read_bytes())

    def to_json(self) -> str:
        """The request as JSON, as the command line and the service take it."""
        return json.dumps(self._request, indent=1, ensure_ascii=False, default=_plain) + "\n"

    def write(self, path: str | PathLike[str]) -> None:
        """Write :meth:`to_json` to a file."""
        Path(path).write_text(self.to_json(), encoding="utf-8")

    def changed(self, field: str, value: object) -> Job:
        """A copy with one field changed, or given where it was left out.

        Parameters
        ----------
        field : str
            Its path: ``"main_pipe.gas_temperature_degC"``, ``"branch.centreline[2].straight_mm"``;
            ``case.`` may stand before it. One that begins with what is asked beside the case,
            ``"while_read.air_speed_m_s"``, is a field of that.
        value : object
            As JSON has it; None is ``null``.

        Raises
        ------
        KeyError
            If the path leads through what is no object and no list, or past a list's end.
        """
        changed = Job()
        changed._request = copy.deepcopy(self._request)
        *way, last = _steps(field.removeprefix("case."))
        here: Any = changed._request
        if _is_of_the_case(field):
            here = here.setdefault("case", {})
        for step in way:
            here = _within(here, step, field)
        if isinstance(here, dict) and isinstance(last, str):
            here = cast("dict[str, Any]", here)
            here[last] = copy.deepcopy(value)
        elif isinstance(here, list) and isinstance(last, int):
            here = cast("list[Any]", here)
            if last >= len(here):
                raise KeyError(f"{field}: the list has {len(here)} entries, counted from 0.")
            here[last] = copy.deepcopy(value)
        else:
            raise KeyError(f"{field}: what stands before {last} has no parts.")
        return changed

    def steady(self, **asked: object) -> SteadyAnswer:
        """The branch warm through, as ``POST /v1/steady`` answers; ``asked`` are its fields."""
        from warmbranch_service.local import steady_of
        from warmbranch_service.steady.request import SteadyRequest

        return steady_of(self._body(SteadyRequest, asked))

    def length(
        self, rpm: float | str | None = None, Hz: float | str | None = None, **asked: object
    ) -> LengthAnswer:
        """How long to build and cut, as ``POST /v1/length`` answers.

        Parameters
        ----------
        rpm, Hz : optional
            What is to be quietened: short for ``target={"quiet_rpm": …}``, ``{"frequency_Hz": …}``.
        **asked
            The request's other fields.
        """
        from warmbranch_service.length.request import LengthRequest
        from warmbranch_service.local import length_of

        if rpm is not None and Hz is not None:
            raise TypeError("Give rpm or Hz, not both.")
        if rpm is not None:
            asked["target"] = {"quiet_rpm": rpm}
        if Hz is not None:
            asked["target"] = {"frequency_Hz": Hz}
        return length_of(self._body(LengthRequest, asked))

    def warmup(self, **asked: object) -> WarmupAnswer:
        """From cold to warm, as ``POST /v1/warmup`` answers; ``asked`` are its fields."""
        from warmbranch_service.local import warmup_of
        from warmbranch_service.warmup.request import WarmupRequest

        return warmup_of(self._body(WarmupRequest, asked))

    def fit(self, **asked: object) -> FitAnswer:
        """The model fitted to ``readings`` and ``heard``, as ``POST /v1/fit`` answers."""
        from warmbranch_service.fit.request import FitRequest
        from warmbranch_service.local import fit_of

        return fit_of(self._body(FitRequest, asked))

    def sweep(self, *vary: Json, processes: int = 1, **asked: object) -> Swept:
        """Many designs of this branch, as ``POST /v1/sweep`` answers.

        Parameters
        ----------
        *vary : mapping
            A field each, and how it varies: ``{"field": "case.main_pipe.gas_temperature_degC",
            "values": [200, 300, 400]}``; in place of the job's own ``vary``.
        processes : int
            Of this machine, about one a core; more than one only where the program's main module
            may be imported again.
        **asked
            The request's other fields: ``sampling``, ``outputs``.
        """
        from warmbranch_service.local import sweep_of
        from warmbranch_service.sweep.request import SweepRequest

        if vary:
            asked["vary"] = [dict(one) for one in vary]
        return sweep_of(self._body(SweepRequest, asked), processes=processes)

    @classmethod
    def learn(cls, jobs: Mapping[str, Job], earlier: LearnAnswer | None = None) -> LearnAnswer:
        """What finished jobs say of the next, as ``POST /v1/learn`` answers.

        Parameters
        ----------
        jobs : mapping of str to Job
            Each with its ``readings`` and ``heard``, by a name unlike all others.
        earlier : LearnAnswer, optional
            What was learned before; the jobs are added to it.
        """
        from warmbranch_service.learn.request import FinishedJob
        from warmbranch_service.local import learn_of

        asked = [{**job._asked(FinishedJob, {}), "name": name} for name, job in jobs.items()]
        before = None if earlier is None else earlier.calibration
        body = {"jobs": asked, "earlier": before}
        return learn_of(json.dumps(body, default=_plain).encode())

    def learned(self, answer: FitAnswer | LearnAnswer) -> Job:
        """A copy that carries what a fit, or finished jobs, taught; its answers are surer then."""
        return self.changed("closures.calibration", answer.calibration.model_dump(mode="json"))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Job) and self._request == other._request

    __hash__ = None  # type: ignore[assignment]  # equal by content, which is a mutable mapping

    def __repr__(self) -> str:
        case = cast("Json", self._request.get("case", {}))
        more = [name for name in self._request if name != "case"]
        return f"<Job: {', '.join([*case, *more])}; to_json() tells all>"

    def _body(self, model: Any, asked: Json) -> bytes:
        """The request for one question, as JSON."""
        return json.dumps(self._asked(model, asked), default=_plain).encode()

    def _asked(self, model: Any, asked: Json) -> dict[str, Any]:
        """The request for one question: the case, what is asked, and what the job holds for it."""
        others = _known() - set(model.model_fields)
        own = {name: value for name, value in self._request.items() if name not in others}
        return {**own, **asked}


def _known() -> frozenset[str]:
    """Fields of any question's request; one that is nobody's is refused by whichever is asked."""
    from warmbranch_service.fit.request import FitRequest
    from warmbranch_service.length.request import LengthRequest
    from warmbranch_service.steady.request import SteadyRequest
    from warmbranch_service.sweep.request import SweepRequest
    from warmbranch_service.warmup.request import WarmupRequest

    models = (SteadyRequest, LengthRequest, WarmupRequest, FitRequest, SweepRequest)
    return frozenset(name for model in models for name in model.model_fields)


def _is_of_the_case(field: str) -> bool:
    """Whether a path leads into the case, as all do that name no other field of a request."""
    first = _steps(field)[0]
    return first in ("case", *PARTS) or first not in _known()


def _steps(field: str) -> list[str | int]:
    parts = re.sub(r"\[(\d+)\]", r".\1", field).split(".")
    return [int(part) if part.isdigit() else part for part in parts]


def _within(here: Any, step: str | int, field: str) -> Any:
    if isinstance(here, dict) and isinstance(step, str):
        holder = cast("dict[str, Any]", here)
        if holder.get(step) is None:
            holder[step] = {}
        return holder[step]
    if isinstance(here, list) and isinstance(step, int) and step < len(cast("list[Any]", here)):
        return cast("list[Any]", here)[step]
    raise KeyError(f"{field}: there is no {step}.")


def _plain(value: object) -> object:
    """What JSON has no word for: arrays and numbers of numpy's kind, sets of pairs."""
    for name in ("tolist", "model_dump"):
        method = getattr(value, name, None)
        if callable(method):
            return method()
    raise TypeError(f"{value!r} has no form in JSON.")
