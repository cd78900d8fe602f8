"""click's commands with help that stands as it was written: examples keep their columns.

click, because it is well kept, checks and completes what is typed, and is here anyway: uvicorn
brings it. Its progress bars tell the time that is left, so no library for bars is needed beside it.
"""

from __future__ import annotations

import textwrap

import click

from warmbranch_service.contract.text import WIDTH

COLUMNS = {"max_content_width": 80, "help_option_names": ["-h", "--help"]}


class Taught(click.Command):
    """A command whose description and epilog are printed as they are."""

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The description."""
        _verbatim(formatter, self.help)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The examples."""
        _verbatim(formatter, self.epilog)


class TaughtGroup(click.Group):
    """A group of such commands, listed in the order in which they are added."""

    command_class = Taught

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names, in the order of use."""
        return list(self.commands)

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The description."""
        _verbatim(formatter, self.help)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The examples."""
        _verbatim(formatter, self.epilog)


def _verbatim(formatter: click.HelpFormatter, text: str | None) -> None:
    """Lines that are indented as they are; prose wrapped, a paragraph at a time."""
    if not text:
        return
    blocks: list[str] = []
    for block in text.strip("\n").split("\n\n"):
        lines = block.splitlines()
        if any(line.startswith(" ") for line in lines):
            blocks.append(block)
        else:
            blocks.append(textwrap.fill(" ".join(lines), WIDTH))
    formatter.write("\n" + "\n\n".join(blocks) + "\n")
