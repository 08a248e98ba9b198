"""The command `bedsim`: picks a command, loads only that one, and turns faults into exit codes.

Exit codes: 0 done, 1 a requirement is not met, 2 the input cannot be used, 3 a solver did not finish,
70 a fault of the program itself, 130 interrupted (128 and the signal's number), 141 the reader of our output
went away.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import importlib.util
import io
import os
import sys
from collections.abc import Sequence
from typing import Any

import click

import bedsim
from bedsim.cli.endings import INTERRUPTED, OWN_FAULT, StoppedError, own_fault, plain, plain_output, stoppable
from bedsim.errors import BedsimError
from bedsim.threads import ONE_EACH

for _name, _count in ONE_EACH.items():
    os.environ.setdefault(_name, _count)

COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("bedsim.cli.new", "Write a commented scenario to start from."),
    "run": ("bedsim.cli.run", "Compute the bed's errors layer by layer."),
    "compare": ("bedsim.cli.compare", "Put two results side by side."),
    "diagnose": ("bedsim.cli.diagnose", "Find the screw behind the bands on a printed wall."),
    "learn": ("bedsim.cli.learn", "Learn one machine from all its readings together."),
    "report": ("bedsim.cli.report", "Write a report from a result."),
    "sweep": ("bedsim.cli.sweep", "Vary keys of a scenario and collect the answers."),
    "gauge": ("bedsim.cli.gauge", "Turn dial gauge readings into run-out."),
    "improve": ("bedsim.cli.improve", "Rank what can be changed by what it gains."),
    "clock": ("bedsim.cli.clock", "Turn the screws in their couplings for the least error."),
    "compensate": ("bedsim.cli.compensate", "Tell what can be taken off a print again, and what is left."),
    "explain": ("bedsim.cli.explain", "Explain a key, figure, row, grade, term or message."),
    "size": ("bedsim.cli.size", "Check speed, buckling, holding and life of a screw."),
}
"""Name -> (module, help line); the module offers a click command `command`.  A missing one is not listed."""

READER_GONE = 141


class _LazyGroup(click.Group):
    """Lists commands from the table and imports a command's module only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name the commands whose module exists."""
        return [
            name for name, (module, _) in COMMANDS.items() if importlib.util.find_spec(module) is not None
        ]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command."""
        if cmd_name not in self.list_commands(ctx):
            return None
        command: click.Command = importlib.import_module(COMMANDS[cmd_name][0]).command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command; an unknown one is refused with the nearest name."""
        known = self.list_commands(ctx)
        if args[0] not in known and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], known, n=1)
            hint = f"Did you mean {near[0]}?" if near else f"Commands: {', '.join(known)}."
            raise click.UsageError(f"there is no command {args[0]!r}. {hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List commands with their help lines without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name][1]) for name in self.list_commands(ctx)])


def _show_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        click.echo(f"bedsim {bedsim.__version__}")
        ctx.exit()


@click.group(
    cls=_LazyGroup,
    no_args_is_help=False,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
    epilog="Start with: bedsim new machine.toml, then bedsim run machine.toml.  "
    "bedsim new --schema prints a JSON Schema of the scenario file for editors.  "
    "Exit codes: 0 done, 1 a requirement is not met, 2 the input cannot be used, 3 a solver did not finish, "
    "70 a fault of bedsim itself, 130 interrupted.",
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version.",
)
@click.option(
    "--also",
    multiple=True,
    type=click.Choice(["svg", "pdf"]),
    help="Save every picture in this format too, as in bedsim --also svg run my.toml. May be given more than "
    "once.",
)
@click.pass_context
def group(ctx: click.Context, also: tuple[str, ...]) -> None:
    """Where a heated bed on imperfect screws really is under the nozzle, layer by layer."""
    if also:
        from bedsim.views.style import also_as

        token = also_as.set(tuple(dict.fromkeys(also)))
        ctx.call_on_close(lambda: also_as.reset(token))
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def command_line() -> int:
    """Run the command line as a process that ends with it."""
    code = main()
    gc.freeze()  # else the interpreter looks for cycles in all there is, a tenth of a second for nothing
    return code


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and give its exit code; a fault of the input comes as one message on stderr."""
    if "_BEDSIM_COMPLETE" in os.environ:
        from bedsim.cli import completion

        completion.offer()
    try:
        with stoppable(), plain_output():
            outcome: Any = group.main(
                args=None if argv is None else list(argv), prog_name="bedsim", standalone_mode=False
            )
            sys.stdout.flush()
        return outcome if isinstance(outcome, int) else 0
    except click.ClickException as fault:
        said = io.StringIO()
        fault.show(said)
        click.echo(plain(said.getvalue()), err=True, nl=False)
        return 2
    except BedsimError as fault:
        click.echo(plain(str(fault)), err=True)
        return fault.exit_code
    except (click.Abort, KeyboardInterrupt) as told:
        with contextlib.suppress(OSError):  # the terminal may be gone
            click.echo("bedsim: interrupted.", err=True)
        cause = told.__cause__ if isinstance(told, click.Abort) else told
        return cause.exit_code if isinstance(cause, StoppedError) else INTERRUPTED
    except BrokenPipeError:
        # The interpreter flushes stdout once more at its end and must find something to write to.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return READER_GONE
    except Exception as fault:
        click.echo(own_fault(fault), err=True)
        return OWN_FAULT
