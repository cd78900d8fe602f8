"""The client for asyncio and trio; parameters and failures as of ``Client``."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping, Sequence
from types import TracebackType
from typing import Any

import anyio
import httpx2

from warmbranch_service.client import exchange
from warmbranch_service.client.exchange import Answer, Attempts, Json, Route
from warmbranch_service.client.retrying import Retrying
from warmbranch_service.fit.answer_schema import FitAnswer
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.http.routes.health import Health, Ready
from warmbranch_service.http.routes.reference import ReferenceAnswer
from warmbranch_service.learn.answer_schema import LearnAnswer
from warmbranch_service.learn.request import LearnRequest
from warmbranch_service.length.answer_schema import LengthAnswer
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.listen.answer_schema import ListenAnswer
from warmbranch_service.listen.request import ListenRequest
from warmbranch_service.steady.answer_schema import SteadyAnswer
from warmbranch_service.steady.request import SteadyRequest
from warmbranch_service.sweep.answer_schema import SweepLine
from warmbranch_service.sweep.request import SweepRequest
from warmbranch_service.warmup.answer_schema import WarmupAnswer
from warmbranch_service.warmup.request import WarmupRequest


class AsyncClient:
    """A client of one service; may be used by several tasks at once.

    Parameters
    ----------
    address, timeout, retrying, api_key, headers
        As of ``Client``.
    transport : httpx2.AsyncBaseTransport, optional
        In place of the usual one.
    """

    def __init__(
        self,
        address: str = exchange.DEFAULT_ADDRESS,
        *,
        timeout: float = exchange.ANSWER_SECONDS,
        retrying: Retrying | None = None,
        api_key: str | None = None,
        headers: Mapping[str, str] | None = None,
        transport: httpx2.AsyncBaseTransport | None = None,
    ) -> None:
        self._retrying = retrying or Retrying()
        settings: dict[str, Any] = exchange.settings_of(address, timeout, api_key, headers)
        self._http = httpx2.AsyncClient(transport=transport, **settings)

    async def steady(self, request: SteadyRequest | Json) -> SteadyAnswer:
        """Temperatures, resonance, heat and transmission loss of a branch warm through."""
        return await self._ask(exchange.STEADY, exchange.content_of(request))

    async def fit(self, request: FitRequest | Json) -> FitAnswer:
        """Calibrated closures, prediction with its uncertainty, next reading, trim."""
        return await self._ask(exchange.FIT, exchange.content_of(request))

    async def learn(self, request: LearnRequest | Json) -> LearnAnswer:
        """A shop's calibration from finished jobs, and how honest it is on them."""
        return await self._ask(exchange.LEARN, exchange.content_of(request))

    async def length(self, request: LengthRequest | Json) -> LengthAnswer:
        """Centre-line length for a target, length to build, trim steps, cut list."""
        return await self._ask(exchange.LENGTH, exchange.content_of(request))

    async def warmup(self, request: WarmupRequest | Json) -> WarmupAnswer:
        """Quiet rpm, temperatures and transmission loss against time."""
        return await self._ask(exchange.WARMUP, exchange.content_of(request))

    async def listen(
        self,
        request: ListenRequest | Json,
        *,
        before: Sequence[bytes] = (),
        after: Sequence[bytes] = (),
    ) -> ListenAnswer:
        """Engine speed, drone and notch from recordings: contents of WAV, FLAC, OGG, MP3 files."""
        content, headers = exchange.parts_of(request, before, after)
        return await self._ask(exchange.LISTEN, content, headers)

    async def sweep(self, request: SweepRequest | Json) -> AsyncIterator[SweepLine]:
        """Many designs of one case: the lines of the answer, each as soon as it is there."""
        content = exchange.content_of(request)
        attempts = Attempts(self._retrying, exchange.SWEEP)
        while True:
            try:
                async with self._http.stream(
                    "POST", exchange.SWEEP.path, content=content, headers=exchange.JSON_CONTENT
                ) as response:
                    pause = attempts.pause_after(response)
                    if pause is None and response.status_code == 200:
                        async for line in response.aiter_lines():
                            yield exchange.read_text(exchange.SWEEP, line, response)
                        return
                    await response.aread()
                    if pause is None:
                        raise exchange.problem_of(response)
            except httpx2.RequestError as error:
                raise attempts.unreachable(error) from error
            await anyio.sleep(pause)

    async def reference(self) -> ReferenceAnswer:
        """Materials, surfaces and fuels that a case may name, with their sources."""
        return await self._ask(exchange.REFERENCE)

    async def health(self) -> Health:
        """Whether the process answers; asked once."""
        return await self._ask(exchange.HEALTH)

    async def ready(self) -> Ready:
        """Whether the service takes work; asked once, and raises ``ServiceProblem`` if not."""
        return await self._ask(exchange.READY)

    async def aclose(self) -> None:
        """Close the connections; further calls raise ``RuntimeError``."""
        await self._http.aclose()

    async def __aenter__(self) -> AsyncClient:
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        await self.aclose()

    async def _ask(
        self,
        route: Route[Answer],
        content: bytes | None = None,
        headers: Mapping[str, str] = exchange.JSON_CONTENT,
    ) -> Answer:
        attempts = Attempts(self._retrying, route)
        headers = {} if content is None else headers
        while True:
            try:
                response = await self._http.request(
                    route.method, route.path, content=content, headers=headers
                )
            except httpx2.RequestError as error:
                pause = attempts.pause_after(error)
                if pause is None:
                    raise attempts.unreachable(error) from error
            else:
                pause = attempts.pause_after(response)
                if pause is None:
                    return exchange.read(route, response)
            await anyio.sleep(pause)
