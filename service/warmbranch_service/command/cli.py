"""The command line: ``warmbranch``."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from warmbranch_service.command import help_texts, learn, listen, questions, rank, service, sweep
from warmbranch_service.command.terminal import (
    FAILED,
    INTERRUPTED,
    OK,
    REFUSED,
    Failed,
    Refused,
    complain,
)
from warmbranch_service.command.verbatim import COLUMNS, Taught, TaughtGroup
from warmbranch_service.demo import DEMOS, demo_text
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.length.examples import EXAMPLES, example_text
from warmbranch_service.version import MODEL_VERSION


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; no traceback reaches the user."""
    try:
        status = warmbranch.main(arguments, prog_name="warmbranch", standalone_mode=False)
        sys.stdout.flush()
        return OK if status is None else int(status)
    except click.ClickException as error:
        error.show()
        return REFUSED
    except Refused as refused:
        complain(str(refused))
        return REFUSED
    except Failed as failed:
        complain(str(failed))
        return FAILED
    except (KeyboardInterrupt, click.Abort):
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read has gone; nothing more may be written, not even at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except Exception as error:
        complain(f"{type(error).__name__}: {error}")
        return FAILED


@click.group(
    "warmbranch",
    cls=TaughtGroup,
    context_settings=COLUMNS,
    help=help_texts.INTRODUCTION,
    epilog=help_texts.START_HERE,
)
@click.version_option(MODEL_VERSION, message="warmbranch %(version)s")
def warmbranch() -> None:
    """All commands."""


_EXAMPLES = (
    {name: text for name, (_, text) in DEMOS.items()}
    | {name: text for name, (_, text, _) in EXAMPLES.items()}
    | {name: text for name, (text, _) in request_examples.FILES.items()}
    | sweep.EXAMPLES
)


@click.command(
    "example",
    cls=Taught,
    short_help="print a request to start from",
    help="Print an invented request to start from.\n\n"
    + "\n".join(
        click.wrap_text(f"{name}: {text}", 78, "  ", "    ") for name, text in _EXAMPLES.items()
    ),
)
@click.argument("name", type=click.Choice(list(_EXAMPLES)), default="van", required=False)
def example(name: str) -> int:
    """Answer ``warmbranch example``."""
    if name in EXAMPLES:
        text = example_text(name)
    elif name in request_examples.FILES:
        text = request_examples.FILES[name][1]()
    elif name in sweep.EXAMPLES:
        text = sweep.example_text()
    else:
        text = demo_text(name)
    sys.stdout.write(text)
    return OK


@click.command(
    "compile",
    short_help="tell what answers: nothing needs compiling any more",
    help="Nothing needs compiling any more: the installation brings the compiled core. Tells "
    "whether it answers, or numpy. Set WARMBRANCH_KERNEL=off to do without it.",
)
def compile_() -> int:
    """Answer ``warmbranch compile``."""
    from warmbranch import core

    sys.stdout.write(f"Nothing needs compiling. Answers come from: {core.name()}.\n")
    return OK


@click.command("openapi", help="Print the OpenAPI document.")
def openapi() -> int:
    """Answer ``warmbranch openapi``."""
    from warmbranch_service.serving.running import openapi_text

    sys.stdout.write(openapi_text())
    return OK


@click.command(
    "completion",
    cls=Taught,
    short_help="what lets Tab complete commands and options",
    help=help_texts.COMPLETION,
)
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> int:
    """Answer ``warmbranch completion``."""
    from click.shell_completion import get_completion_class

    kind = get_completion_class(shell)
    if kind is None:  # click knows these three; another version may not
        raise Failed(f"There is no completion for {shell} here.")
    made = kind(warmbranch, {}, "warmbranch", "_WARMBRANCH_COMPLETE")
    sys.stdout.write(made.source() + "\n")
    return OK


for _command in (
    service.demo,
    questions.length,
    questions.steady,
    questions.fit,
    learn.learn,
    questions.warmup,
    listen.listen,
    sweep.sweep,
    rank.rank,
    service.serve,
    example,
    completion,
    compile_,
    openapi,
):
    warmbranch.add_command(_command)
