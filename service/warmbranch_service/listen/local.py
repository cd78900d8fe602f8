"""Listening without HTTP: files, or arrays and a sampling rate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch_service.contract.errors import INVALID, NOT_CONVERGED, Entry, Problem
from warmbranch_service.contract.refusals import invalid, refused_by_physics
from warmbranch_service.contract.strict_json import parse
from warmbranch_service.listen.answer import answer_listen
from warmbranch_service.listen.answer_schema import ListenAnswer
from warmbranch_service.listen.recordings import Limits, Recording, decoded
from warmbranch_service.listen.request import ListenRequest

Sound = tuple[NDArray[np.floating[Any]], int]
"""Samples, (n,) or (n, channels), and the sampling rate in Hz."""


def listen(
    request: ListenRequest | Mapping[str, Any],
    *,
    before: Sequence[Sound] = (),
    after: Sequence[Sound] = (),
) -> ListenAnswer:
    """Listen to arrays.

    Parameters
    ----------
    request : ListenRequest or mapping
        As the part ``request`` of ``POST /v1/listen``.
    before, after : sequences of (samples, sampling rate in Hz)
        Samples are ``(n,)`` or ``(n, channels)``, of any unit.

    Raises
    ------
    Problem
        For everything that the service would refuse.

    Example
    -------
    ``listen({"engine": {"cylinders": 4}, "lowest_rpm": 1000, "highest_rpm": 5000},
    after=[(samples, 48000)])``
    """
    checked = checked_request(request)
    return answered(checked, [_mono(sound) for sound in before], [_mono(sound) for sound in after])


def listen_to_files(
    body: bytes, *, before: Sequence[bytes] = (), after: Sequence[bytes] = (), limits: Limits
) -> ListenAnswer:
    """Answer the parts of a ``POST /v1/listen``.

    Raises
    ------
    Problem
    """
    checked = checked_request(parse(body))
    parts = {
        side: [decoded(content, (side, place), limits) for place, content in enumerate(contents)]
        for side, contents in (("before", before), ("after", after))
    }
    return answered(checked, parts["before"], parts["after"])


def checked_request(value: Any) -> ListenRequest:
    """The request, or a Problem that names what is wrong with it."""
    if isinstance(value, ListenRequest):
        return value
    try:
        return ListenRequest.model_validate(value)
    except ValidationError as error:
        raise Problem.of(invalid(error.errors(), value, ListenRequest)) from None


def answered(
    request: ListenRequest, before: Sequence[Recording], after: Sequence[Recording]
) -> ListenAnswer:
    """The answer, with the physics' refusals as Problems."""
    try:
        return answer_listen(request, before, after)
    except InputError as error:
        if error.field in _OF_THE_REQUEST:
            entry = Entry(
                (_OF_THE_REQUEST[error.field],),
                "refused_by_physics",
                error.message,
                error.remedy,
                error.value,
                error.unit,
            )
            raise Problem(INVALID, entry.sentence(), entries=[entry]) from None
        raise Problem.of(refused_by_physics(error)) from None
    except NotConvergedError as error:
        raise Problem(NOT_CONVERGED, str(error)) from None


_OF_THE_REQUEST = {
    "pilot": "pilot_tone_Hz",
    "slowest": "lowest_rpm",
}
"""Names of the physics, as the request has them."""


def _mono(sound: Sound) -> Recording:
    samples, rate = np.asarray(sound[0]), sound[1]
    if samples.ndim == 2:
        samples = samples.mean(axis=1)
    if samples.ndim != 1 or not np.issubdtype(samples.dtype, np.number) or samples.size == 0:
        entry = Entry(
            ("recordings",),
            "not_audio",
            f"Samples come as an array of shape {samples.shape} and type {samples.dtype}.",
            "Give numbers of shape (n,) or (n, channels).",
        )
        raise Problem(INVALID, entry.sentence(), entries=[entry])
    if samples.dtype.kind in "iu":
        samples = samples / np.iinfo(samples.dtype.name).max
    clipped = float(np.mean(np.abs(samples) >= 0.999))
    return Recording(samples, int(rate), clipped if np.isfinite(samples).all() else 0.0)
