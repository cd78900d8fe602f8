"""What a client raises.

ClientError             root: whoever catches this catches all
  ServiceProblem        the service answered with a failure; its fields are attributes
  UnexpectedAnswer      something answered that is not this service, or a far newer one
  Unreachable           no answer: nothing listens there, the line broke, time ran out
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from warmbranch_service.contract.errors import TYPE_PREFIX, ProblemDetails, ProblemEntry


class ClientError(Exception):
    """Root of everything that a client raises."""


class ServiceProblem(ClientError):
    """The service answered with a failure.

    Parameters
    ----------
    details : ProblemDetails
        The failure as it came; its fields are attributes here too.
    headers : mapping of str to str
        Of the answer; names in lower case.
    """

    def __init__(self, details: ProblemDetails, headers: Mapping[str, str]) -> None:
        self.details = details
        self.headers = dict(headers)
        super().__init__(f"{details.title} {details.detail} (request {details.request_id})")

    @property
    def name(self) -> str:
        """Stable name of the kind of failure: ``"invalid-request"``."""
        return self.details.type.removeprefix(TYPE_PREFIX)

    @property
    def type(self) -> str:
        """Stable identifier, and where to read about it."""
        return self.details.type

    @property
    def title(self) -> str:
        """The kind of failure in words."""
        return self.details.title

    @property
    def status(self) -> int:
        """HTTP status."""
        return self.details.status

    @property
    def detail(self) -> str:
        """What happened this time."""
        return self.details.detail

    @property
    def request_id(self) -> str:
        """Finds the request in the service's log."""
        return self.details.request_id

    @property
    def errors(self) -> Sequence[ProblemEntry]:
        """What is wrong with the request, one by one: pointer, value, unit, remedy."""
        return self.details.errors


class UnexpectedAnswer(ClientError):
    """Something answered that this client does not understand."""


class Unreachable(ClientError):
    """There was no answer; the cause is chained."""
