"""The program `halfsplit` itself: its commands hang here; errors become one message and exit status 1."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from halfsplit import __version__
from halfsplit.errors import HalfsplitError

FAILED = 1
"""The exit status where the answer is 'no' or the input is bad. Wrong usage is 2, all else 0."""


class Commands(TyperGroup):
    """The commands, where what Halfsplit raises on purpose is told without a traceback."""

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except HalfsplitError as error:
            typer.echo(str(error), err=True)
            raise typer.Exit(FAILED) from None


app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
    help="Fault finding on vehicle electrics by measurement.\n\nThe vehicle maker's documentation, local rules and "
    "licensed practice come first.",
)


def example(*lines: str) -> str:
    """What stands under a command's help."""
    return "\b\nExample:\n" + "\n".join(f"  {line}" for line in lines)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"halfsplit {__version__}")
        raise typer.Exit


@app.callback()
def start(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Tell the version and end.")
    ] = False,
) -> None:
    """The options before a command."""
