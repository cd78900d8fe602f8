"""The command line: ``warmbranch``."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Mapping, Sequence

from warmbranch_service import MODEL_VERSION
from warmbranch_service.command import help_texts
from warmbranch_service.command import listen as listen
from warmbranch_service.command import rank as rank
from warmbranch_service.command import sweep as sweep
from warmbranch_service.command.terminal import (
    FAILED,
    INTERRUPTED,
    OK,
    REFUSED,
    Failed,
    Refused,
    answered,
    complain,
    read,
    read_text,
    write,
)
from warmbranch_service.demo import DEMOS, demo_text
from warmbranch_service.http import request_examples
from warmbranch_service.http.settings import settings_help
from warmbranch_service.length.examples import EXAMPLES, example_text


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; no traceback reaches the user."""
    given = _parser().parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = given.command
    try:
        status = command(given)
        sys.stdout.flush()
        return status
    except Refused as refused:
        complain(str(refused))
        return REFUSED
    except Failed as failed:
        complain(str(failed))
        return FAILED
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read has gone; nothing more may be written, not even at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except Exception as error:
        complain(f"{type(error).__name__}: {error}")
        return FAILED


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="warmbranch",
        description=help_texts.INTRODUCTION,
        epilog=help_texts.START_HERE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"warmbranch {MODEL_VERSION}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    demo = commands.add_parser(
        "demo",
        help="start a service, post an invented case, print the answer, keep listening",
        description="Start a service on this machine only, post an invented case to it over HTTP, "
        "print the answer, and keep listening until Ctrl-C.",
    )
    _add_name(demo, _DEMOS)
    demo.add_argument("--port", type=_port, default=0, help="default: any free one")
    demo.add_argument("--no-wait", action="store_true", help="stop after the answer")
    demo.set_defaults(command=_demo)

    steady = commands.add_parser(
        "steady",
        help="answer the request in a file, as a table or as JSON",
        description="Answer the request in a file, as POST /v1/steady does, without a service.",
        epilog=help_texts.STEADY,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    steady.add_argument("file", metavar="FILE", help="a JSON request; - reads standard input")
    steady.add_argument("--json", action="store_true", help="print JSON instead of a table")
    steady.set_defaults(command=_steady)

    fit = commands.add_parser(
        "fit",
        help="fit the model to thermometer readings and to what was heard",
        description="Fit the model to readings and to quiet rpm heard, as POST /v1/fit does, "
        "without a service.",
        epilog=help_texts.FIT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    fit.add_argument("file", metavar="FILE", help="a JSON request; - reads standard input")
    fit.add_argument(
        "--readings",
        metavar="FILE.csv",
        help="readings beside those in FILE, one a line; the first line names the columns as a "
        "reading's fields are named: position_mm,displayed_degC,thermometer,surface,...",
    )
    fit.add_argument("--json", action="store_true", help="print JSON instead of a table")
    fit.add_argument(
        "--calibration",
        metavar="OUT.json",
        help="also write the calibration to a file, for case.closures.calibration",
    )
    fit.set_defaults(command=_fit)

    length = commands.add_parser(
        "length",
        help="length for a target, length to build, trim steps, cut list",
        description="Find the length for a target, as POST /v1/length does, without a service.",
        epilog=help_texts.LENGTH,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    length.add_argument("file", metavar="FILE", help="a JSON request; - reads standard input")
    form = length.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of a table")
    form.add_argument("--csv", action="store_true", help="print CSV: section,row,field,value,unit")
    length.set_defaults(command=_length)

    warmup = commands.add_parser(
        "warmup",
        help="follow the quiet rpm from a cold start to warm, and over weather and load",
        description="Follow the branch while it warms up, as POST /v1/warmup does, without a "
        "service.",
        epilog=help_texts.WARMUP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    warmup.add_argument("file", metavar="FILE", help="a JSON request; - reads standard input")
    warmup.add_argument("--json", action="store_true", help="print JSON instead of a table")
    warmup.set_defaults(command=_warmup)

    listen.add_to(commands)
    sweep.add_to(commands)
    rank.add_to(commands)

    serve = commands.add_parser(
        "serve",
        help="run the service",
        description=help_texts.SERVE,
        epilog=settings_help(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    serve.add_argument("--host", default="127.0.0.1", help="default: %(default)s, this machine")
    serve.add_argument("--port", type=_port, default=8000, help="default: %(default)s")
    serve.add_argument(
        "--workers", type=_count, default=1, help="processes; about one a core; default: 1"
    )
    serve.add_argument(
        "--take-over",
        action="store_true",
        help="listen beside a service that is still at this port; end that one once this is ready",
    )
    serve.set_defaults(command=_serve)

    example = commands.add_parser(
        "example", help="print a request to start from", description="Print an invented request."
    )
    _add_name(example, _EXAMPLES)
    example.set_defaults(command=_example)

    compile_ = commands.add_parser(
        "compile",
        help="tell what answers: nothing needs compiling any more",
        description="Nothing needs compiling any more: the installation brings the compiled core. "
        "Tells whether it answers, or numpy. Set WARMBRANCH_KERNEL=off to do without it.",
    )
    compile_.set_defaults(command=_compile)

    openapi = commands.add_parser(
        "openapi", help="print the OpenAPI document", description="Print the OpenAPI document."
    )
    openapi.set_defaults(command=_openapi)
    return parser


_DEMOS = {name: text for name, (_, text) in DEMOS.items()}
_EXAMPLES = (
    _DEMOS
    | {name: text for name, (_, text, _) in EXAMPLES.items()}
    | {name: text for name, (text, _) in request_examples.FILES.items()}
    | sweep.EXAMPLES
)


def _add_name(parser: argparse.ArgumentParser, names: Mapping[str, str]) -> None:
    known = "; ".join(f"{name}: {text[0].lower()}{text[1:]}" for name, text in names.items())
    parser.add_argument(
        "name", nargs="?", choices=list(names), default="van", help=f"{known}; default: van"
    )


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) <= 65535):
        raise argparse.ArgumentTypeError("give a port from 0 to 65535")
    return int(text)


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 256):
        raise argparse.ArgumentTypeError("give a whole number from 1 to 256")
    return int(text)


def _example(given: argparse.Namespace) -> int:
    if given.name in EXAMPLES:
        text = example_text(given.name)
    elif given.name in request_examples.FILES:
        text = request_examples.FILES[given.name][1]()
    elif given.name in sweep.EXAMPLES:
        text = sweep.example_text()
    else:
        text = demo_text(given.name)
    sys.stdout.write(text)
    return OK


def _compile(given: argparse.Namespace) -> int:
    from warmbranch import core

    sys.stdout.write(f"Nothing needs compiling. Answers come from: {core.name()}.\n")
    return OK


def _openapi(given: argparse.Namespace) -> int:
    from warmbranch_service.serving.running import openapi_text

    sys.stdout.write(openapi_text())
    return OK


def _serve(given: argparse.Namespace) -> int:
    from warmbranch_service.http.settings import Settings
    from warmbranch_service.serving.listening import PortTakenError
    from warmbranch_service.serving.supervisor import serve

    try:
        settings = Settings.from_environment()
    except ValueError as error:
        raise Refused(str(error)) from None
    address = f"{given.host} port {given.port}"
    try:
        told = serve(
            host=given.host,
            port=given.port,
            workers=given.workers,
            beside=given.take_over,
            settings=settings,
        )
    except PortTakenError as error:
        raise Failed(
            f"{address} cannot be used: {error}. Choose another --port; or, where a service of "
            "yours listens there, add --take-over and then end that one."
        ) from None
    except OSError as error:
        raise Failed(f"{address} cannot be used: {error.strerror or error}.") from None
    return OK if told else FAILED


def _steady(given: argparse.Namespace) -> int:
    # Late, here and below: half of the start is loading, and --help needs none of it.
    from warmbranch_service.local import steady_of
    from warmbranch_service.steady.table import readable

    answer = answered(lambda: steady_of(read(given.file)))
    sys.stdout.write(answer.model_dump_json() + "\n" if given.json else readable(answer))
    return OK


def _warmup(given: argparse.Namespace) -> int:
    from warmbranch_service.local import warmup_of
    from warmbranch_service.warmup.table import readable_warmup

    answer = answered(lambda: warmup_of(read(given.file)))
    sys.stdout.write(answer.model_dump_json() + "\n" if given.json else readable_warmup(answer))
    return OK


def _fit(given: argparse.Namespace) -> int:
    from warmbranch_service.fit.table import readable_fit
    from warmbranch_service.local import fit_of

    readings = None if given.readings is None else read_text(given.readings)
    answer = answered(lambda: fit_of(read(given.file), readings))
    if given.calibration is not None:
        write(given.calibration, answer.calibration.model_dump_json(indent=1) + "\n")
    sys.stdout.write(answer.model_dump_json() + "\n" if given.json else readable_fit(answer))
    return OK


def _length(given: argparse.Namespace) -> int:
    from warmbranch_service.contract.answer_csv import as_csv
    from warmbranch_service.length.table import readable_length
    from warmbranch_service.local import length_of

    answer = answered(lambda: length_of(read(given.file)))
    if given.csv:
        text = as_csv(answer, "length")
    else:
        text = answer.model_dump_json() + "\n" if given.json else readable_length(answer)
    sys.stdout.write(text)
    return OK


def _demo(given: argparse.Namespace) -> int:
    from warmbranch_service.serving.running import LocalService
    from warmbranch_service.steady.schema import SteadyAnswer
    from warmbranch_service.steady.table import readable

    try:
        service = LocalService(given.port)
    except OSError as error:
        raise Refused(f"Port {given.port} cannot be used: {error.strerror}.") from None
    with service:
        body = demo_text(given.name)
        status, content = service.post("/v1/steady", body.encode())
        if status != 200:
            complain(content.decode())
            return FAILED
        answer = SteadyAnswer.model_validate_json(content)
        sys.stdout.write(f"{DEMOS[given.name][1]}: the numbers are nobody's measurement.\n")
        sys.stdout.write(f"POST {service.address}/v1/steady answered {status}:\n\n")
        sys.stdout.write(readable(answer))
        if not given.no_wait:
            sys.stdout.write(f"\nListening at {service.address} until Ctrl-C. Try, elsewhere:\n")
            sys.stdout.write(
                f"  warmbranch example {given.name} > my.json\n"
                f"  curl -s {service.address}/v1/steady "
                "-H 'Content-Type: application/json' -d @my.json\n"
            )
            sys.stdout.flush()
            service.wait()
    return OK
