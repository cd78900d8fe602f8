"""Where a worker process begins: what must stand before the application is loaded.

``python -m warmbranch_service.serving.entry LISTENER STATUS``, started by the supervisor.
"""

from __future__ import annotations

import sys

from warmbranch_service.http.passage import metrics_folder
from warmbranch_service.http.passage.logs import configure
from warmbranch_service.http.settings import Settings


def main(listener: int, status: int) -> None:
    """Serve until told to stop."""
    settings = Settings.from_environment()
    configure(settings.log_format)
    metrics_folder.reserve()  # before anything counts, as the application does when it is loaded
    from warmbranch_service.serving.worker import serve

    serve(settings, listener, status)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
