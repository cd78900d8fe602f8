"""What the service counts, for Prometheus: ``GET /v1/metrics``.

With several workers each writes its numbers to files of the supervisor's directory, and whichever
is asked sums them up; alone, a process keeps them to itself. Routes are told by their template, so
that no address a client makes up becomes a series.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from prometheus_client import (
    CONTENT_TYPE_LATEST,
    REGISTRY,
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    generate_latest,
)
from prometheus_client.multiprocess import MultiProcessCollector

from warmbranch import core
from warmbranch_service.http.passage.metrics_folder import DIRECTORY

if TYPE_CHECKING:
    from warmbranch_service.http.passage.workshop import Workshop

MEDIA_TYPE = CONTENT_TYPE_LATEST
SECONDS = (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60)

REQUESTS = Counter("warmbranch_requests", "Requests answered.", ("method", "route", "status"))
LATENCY = Histogram(
    "warmbranch_request_seconds",
    "From a request's first byte to its answer's last.",
    ("route",),
    buckets=SECONDS,
)
SOLVES = Counter("warmbranch_solves", "Heat balances solved, one a design.")
ITERATIONS = Counter("warmbranch_solver_iterations", "Newton steps of the heat balance.")
NOT_CONVERGED = Counter("warmbranch_not_converged", "Requests that the solver failed.")
SHED = Counter("warmbranch_shed", "Requests turned away because the queue was full.")
LATE = Histogram(
    "warmbranch_loop_late_seconds",
    "How late the event loop turns, some twenty looks a second: what everybody waits for.",
    buckets=(0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5),
)
LIMITED = Counter("warmbranch_limited", "Requests turned away by the limit per minute.")
STOPPED = Counter("warmbranch_stopped", "Work ended before it was done.", ("reason",))
QUEUE = Gauge(
    "warmbranch_queue_length",
    "Requests that wait for a thread.",
    multiprocess_mode="livesum",
)
WORKING = Gauge("warmbranch_working", "Threads that work.", multiprocess_mode="livesum")
READY = Gauge(
    "warmbranch_ready_workers", "Workers whose tables are loaded.", multiprocess_mode="livesum"
)
COMPILED = Gauge(
    "warmbranch_compiled_workers",
    "Workers whose answers come from the compiled core.",
    multiprocess_mode="livesum",
)


def exposition() -> bytes:
    """All numbers of all workers, in Prometheus' text form."""
    registry = REGISTRY
    if DIRECTORY in os.environ:
        registry = CollectorRegistry()
        # Its parameters carry no types.
        MultiProcessCollector(registry)  # pyright: ignore[reportUnknownMemberType]
    return generate_latest(registry)


def tell_state(workshop: Workshop, *, ready: bool) -> None:
    """Set this process's gauges."""
    QUEUE.set(workshop.waiting)
    WORKING.set(workshop.working)
    READY.set(ready)
    COMPILED.set(core.at_hand() is not None)
