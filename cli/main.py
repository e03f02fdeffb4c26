"""The ``scaler`` command: a group whose commands are imported only when they are called."""

from __future__ import annotations

import sys
from importlib import import_module
from io import TextIOWrapper
from typing import Any

import click

import scaler

# name: (module, attribute, short help); short helps stand here so that --help imports nothing else
COMMANDS: dict[str, tuple[str, str, str]] = {
    "start": ("start_commands", "start", "Write a commented starter model that already runs."),
    "demo": ("start_commands", "demo", "Run the shipped example; write it out if DIR is given."),
    "reduce": ("model_commands", "reduce", "Every size: full size, exact, chosen, and why."),
    "check": ("model_commands", "check", "Every pair and condition, with its verdict."),
    "substitute": ("substitute_commands", "substitute", "The best choice for the whole model."),
    "sweep": ("substitute_commands", "sweep", "How departure and conflicts vary with the scale."),
    "explain": ("model_commands", "explain", "Where a number comes from and what hangs on it."),
    "chain": ("chain_commands", "chain", "Tolerance chains: worst case, shares, the chance."),
    "measure": ("bench_commands", "measure", "Record an as-made size; what it changes."),
    "next": ("bench_commands", "next_", "What to make next, and what is left to come off."),
    "fits": ("fit_commands", "fits", "Fits: which side first, hot and cold, pressed."),
    "cards": ("desk_commands", "cards", "Pages for the bench, one a part."),
    "report": ("desk_commands", "report", "The whole model on one page, with pictures."),
    "materials": ("desk_commands", "materials", "Cutting list, bought parts, tools needed."),
    "sizes-in": ("desk_commands", "sizes_in", "Sizes from a spreadsheet or a DXF drawing."),
    "scale-off": ("desk_commands", "scale_off", "Sizes from points measured on a print."),
    "lookup": ("lookup_commands", "lookup", "Answers from the catalogues: length, thread, fit …"),
}


class LazyGroup(click.Group):
    """A group that knows its commands' names and short helps without importing them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All commands, in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of a name, imported now."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        command = getattr(import_module(f"scaler.cli.{entry[0]}"), entry[1])
        assert isinstance(command, click.Command)
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Runs a command with its progress shown."""
        from scaler.cli import common

        with common.showing_progress():
            return super().invoke(ctx)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Names an unknown command with the nearest known one."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from scaler.problems import did_you_mean

            advice = did_you_mean(args[0], COMMANDS, "scaler --help lists them")
            ctx.fail(f"there is no command '{args[0]}'; {advice}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of commands from their short helps."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry[2]) for name, entry in COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(scaler.__version__, prog_name="scaler")
def cli() -> None:
    """Reduce full-size drawings to one coherent set of workshop dimensions for a working model.

    MODEL is a model folder (with a model.toml) or its first file. Exit status: 0 nothing fails,
    1 something is tight, loose or fails (with --strict also when something is doubtful), 2 the
    input could not be used.
    """


def main(args: list[str] | None = None) -> Any:
    """The entry point: any fault of the input ends with a message and exit status 2."""
    if isinstance(sys.stdout, TextIOWrapper):  # a screen that lacks a letter shows its number
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        return cli.main(args=args, standalone_mode=True)
    except BrokenPipeError:  # the reader of a pipe has had enough
        sys.stderr.close()
        return sys.exit(0)
    except OSError as error:  # what goes to the screen or a pipe, on a full disk
        import os

        with open(os.devnull, "wb") as nowhere:  # nor could it be written when Python ends
            os.dup2(nowhere.fileno(), 1)
        what = f"{error.filename}: " if error.filename else "the answer cannot be written: "
        click.echo(
            f"{what}{error.strerror or error}; mend that and give the command again", err=True
        )
        return sys.exit(2)
    except Exception as error:
        from scaler.problems import InputError  # asking for help must not wait for it

        if not isinstance(error, InputError):
            raise
        from scaler.cli import common  # a user's own table that cannot be used, wherever needed

        common.refuse(error)


if __name__ == "__main__":
    main()
