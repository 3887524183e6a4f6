"""The commands gathered in one app; imports the command files, which import what is heavy only when they run."""

from __future__ import annotations

from typing import Annotated

import typer

from .batch import batch
from .calibrate import calibrate
from .card import card
from .demo import demo
from .describe import describe
from .inputs import inputs
from .listen import listen
from .log import app as log
from .plan import plan
from .read import read
from .sheet import sheet
from .study import study
from .tone import tone
from .weigh import weigh

app = typer.Typer(
    name="tensionear",
    help="Spoke tension from the sound of plucked spokes: newtons with an honest +/-, and what to do about them.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _version(wanted: bool) -> None:
    """Print the version and stop."""
    if wanted:
        from tensionear import __version__

        typer.echo(f"tensionear {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def start(
    context: typer.Context,
    version: Annotated[  # noqa: ARG001 - handled by its callback
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
    debug: Annotated[  # noqa: ARG001 - taken off the arguments before they come here
        bool, typer.Option("--debug", help="Show the traceback of an error; may stand anywhere.")
    ] = False,
) -> None:
    """Without a command the help is shown."""
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


app.command()(demo)
app.command()(read)
app.command()(describe)
app.command()(plan)
app.command()(listen)
app.command()(inputs)
app.command()(tone)
app.command()(card)
app.command()(batch)
app.command()(study)
app.add_typer(log, name="log")
app.command()(sheet)
app.command()(calibrate)
app.command()(weigh)
