"""A typed client of the service, sync and async.

>>> from warmbranch_service.client import Client
>>> with Client("http://localhost:8000") as service:  # doctest: +SKIP
...     print(service.steady(my_case).resonance.quiet_rpm)
"""

from warmbranch_service.client.asynchronous import AsyncClient
from warmbranch_service.client.failures import (
    ClientError,
    ServiceProblem,
    UnexpectedAnswer,
    Unreachable,
)
from warmbranch_service.client.retrying import Retrying
from warmbranch_service.client.synchronous import Client

__all__ = [
    "AsyncClient",
    "Client",
    "ClientError",
    "Retrying",
    "ServiceProblem",
    "UnexpectedAnswer",
    "Unreachable",
]
