"""The commands that run a service: demo and serve."""

from __future__ import annotations

import os
import secrets
import socket
import sys
import threading
import webbrowser
from urllib.parse import quote

import click

from warmbranch_service.command import help_texts
from warmbranch_service.command.terminal import FAILED, OK, Failed, Refused, complain, show
from warmbranch_service.command.verbatim import Taught
from warmbranch_service.demo import DEMOS, demo_text
from warmbranch_service.http.settings import settings_help

KEYS = "WARMBRANCH_API_KEYS"
OPENING_SECONDS = 1.0
"""Until the browser is sent to a service that has just begun to start."""

Port = click.IntRange(0, 65535)
Count = click.IntRange(1, 256)


@click.command(
    "demo",
    cls=Taught,
    short_help="start a service, post an invented case, print the answer, keep listening",
    help="Start a service on this machine only, post an invented case to it over HTTP, print the\n"
    "answer, and keep listening until Ctrl-C.\n\n"
    + "\n".join(
        click.wrap_text(f"{name}: {text}", 78, "  ", "    ") for name, (_, text) in DEMOS.items()
    ),
)
@click.argument("name", type=click.Choice(list(DEMOS)), default="van", required=False)
@click.option("--port", type=Port, default=0, help="Default: any free one.")
@click.option("--no-wait", is_flag=True, help="Stop after the answer.")
@click.option("--open", "open_page", is_flag=True, help="Open the page in a browser.")
def demo(name: str, port: int, *, no_wait: bool, open_page: bool) -> int:
    """Answer ``warmbranch demo``."""
    from warmbranch_service.serving.running import LocalService
    from warmbranch_service.steady.answer_schema import SteadyAnswer

    try:
        service = LocalService(port)
    except OSError as error:
        raise Refused(f"Port {port} cannot be used: {error.strerror}.") from None
    with service:
        status, content = service.post("/v1/steady", demo_text(name).encode())
        if status != 200:
            complain(content.decode())
            return FAILED
        answer = SteadyAnswer.model_validate_json(content)
        sys.stdout.write(f"{DEMOS[name][1]}: the numbers are nobody's measurement.\n")
        sys.stdout.write(f"POST {service.address}/v1/steady answered {status}:\n\n")
        show(answer.report(full=False))
        if not no_wait:
            sys.stdout.write(
                f"\nListening at {service.address} until Ctrl-C: open that page in a browser.\n"
                "Or try, in another terminal:\n"
                f"  warmbranch example {name} > my.json\n"
                f"  curl -s {service.address}/v1/steady "
                "-H 'Content-Type: application/json' -d @my.json\n"
            )
            sys.stdout.flush()
            if open_page:
                webbrowser.open(service.address)
            service.wait()
    return OK


@click.command(
    "serve",
    cls=Taught,
    short_help="run the service, and with it the page",
    help=help_texts.SERVE,
    epilog=settings_help(),
)
@click.option("--host", default="127.0.0.1", show_default=True, help="This machine alone.")
@click.option("--port", type=Port, default=8000, show_default=True)
@click.option("--workers", type=Count, default=1, show_default=True, help="About one a core.")
@click.option("--open", "open_page", is_flag=True, help="Open the page in a browser.")
@click.option(
    "--phone",
    is_flag=True,
    help="Listen on the local network, with a key, and print the page's address as a QR code.",
)
@click.option(
    "--take-over",
    is_flag=True,
    help="Listen beside a service that is still at this port; end that one once this is ready.",
)
def serve(
    host: str, port: int, workers: int, *, open_page: bool, phone: bool, take_over: bool
) -> int:
    """Answer ``warmbranch serve``."""
    from warmbranch_service.http.settings import Settings
    from warmbranch_service.serving.listening import PortTakenError
    from warmbranch_service.serving.supervisor import serve as supervise

    key = ""
    if phone:
        host = "0.0.0.0"
        key = os.environ.get(KEYS, "").split(",")[0].strip() or secrets.token_urlsafe(16)
        os.environ.setdefault(KEYS, key)  # the workers read it there, too
    try:
        settings = Settings.from_environment()
    except ValueError as error:
        raise Refused(str(error)) from None
    page = f"http://{'127.0.0.1' if phone else host}:{port}/"
    if phone:
        _tell_phone(port, key)
    else:
        sys.stdout.write(f"The page: {page}   (Ctrl-C ends it)\n")
    sys.stdout.flush()
    if open_page:
        later = threading.Timer(OPENING_SECONDS, webbrowser.open, (_with_key(page, key),))
        later.daemon = True
        later.start()
    try:
        told = supervise(host=host, port=port, workers=workers, beside=take_over, settings=settings)
    except PortTakenError as error:
        raise Failed(
            f"{host} port {port} cannot be used: {error}. Choose another --port; or, where a "
            "service of yours listens there, add --take-over and then end that one."
        ) from None
    except OSError as error:
        raise Failed(f"{host} port {port} cannot be used: {error.strerror or error}.") from None
    return OK if told else FAILED


def _with_key(page: str, key: str) -> str:
    """The address with the key behind #, which a browser keeps to itself and sends to nobody."""
    return f"{page}#key={quote(key, safe='')}" if key else page


def _tell_phone(port: int, key: str) -> None:
    import segno  # late: nothing else draws a QR code; pure Python without dependencies

    address = _with_key(f"http://{local_address()}:{port}/", key)
    sys.stdout.write(
        "On a phone in the same network, point its camera at this, or type the address.\n"
        "Whoever has the address can use the page; Ctrl-C ends it.\n\n"
    )
    sys.stdout.write(qr_code(address, segno) + f"\n  {address}\n\n")


def qr_code(text: str, segno: object) -> str:
    """A QR code in half-block characters, light on dark as on dark on light."""
    import io

    drawn = io.StringIO()
    # The module is handed in as an object: it is imported late, and only here.
    segno.make(text, error="l", micro=False).terminal(  # type: ignore[attr-defined]
        out=drawn, compact=True, border=2
    )
    return drawn.getvalue()


def local_address() -> str:
    """This machine's address in its network; of one that has none, the loopback's."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # documentation's own network: nothing is sent
            return str(asked.getsockname()[0])
        except OSError:
            return "127.0.0.1"
