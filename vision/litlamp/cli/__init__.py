"""The command line: each command parses, calls one function of the library and prints.

Readings go to standard output, everything else to standard error. Exit status: 0 read, 1 no signal found,
2 bad input or usage. Nothing heavy is imported before a command needs it.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn

import click

from litlamp import __version__
from litlamp.cli.shared import BAD, FOOT, INTERRUPTED, PIPE_CLOSED, READ, say

_WHERE = {
    "read": "reading",
    "footage": "riding",
    "explain": "explaining",
    "rules": "explaining",
    "draw": "drawing",
    "label": "labelling",
    "export": "labelling",
    "compare": "labelling",
    "sample": "labelling",
    "score": "scoring",
    "page": "showing",
    "selfcheck": "showing",
}
"""The module of each command; it is imported when the command is asked for."""


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(_WHERE)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _WHERE:
            return None
        command: click.Command = getattr(import_module(f"{__name__}.{_WHERE[cmd_name]}"), cmd_name)
        return command


@click.group(
    cls=_Commands,
    epilog=FOOT,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="litlamp", message="%(prog)s %(version)s")
def commands() -> None:
    """Read the aspect of a railway colour-light signal, and what it means by the rulebook."""


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status; never raises for bad input.

    `arguments` are those after the program's name; None takes them from `sys.argv`.
    """
    debug = bool(os.environ.get("LITLAMP_DEBUG"))
    words = sys.argv[1:] if arguments is None else list(arguments)
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a character gets its code, not a fault.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    if sys.stdout is None:
        if sys.stderr is not None:
            say("standard output is closed, so that nothing can be told there")
        return BAD
    try:
        # The words as given are kept for a record of how something was made.
        status = commands.main(words, prog_name="litlamp", standalone_mode=False, obj=tuple(words))
        sys.stdout.flush()
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        return BAD
    except click.ClickException as error:
        hint = ""
        if isinstance(error, click.UsageError) and error.ctx is not None:
            hint = f" (see {error.ctx.command_path} --help)"
        say(error.format_message().rstrip(".") + hint)
        return BAD
    except (click.Abort, KeyboardInterrupt):
        say("interrupted")
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has gone; the interpreter's last flush must not complain of it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return PIPE_CLOSED
    except SystemExit:  # click's own answer to a closed pipe, with a status that means something else here
        return PIPE_CLOSED
    except OSError as error:
        if debug:
            raise
        say(f"the system refused something litlamp needed: {(error.strerror or str(error)).lower()}")
        return BAD
    except MemoryError:
        say("there is not enough memory for this")
        return BAD
    except Exception as error:
        if debug:
            raise
        what = " ".join(f"{type(error).__name__} {error}".split())[:200]
        say(f"something failed that should not ({what}); please report it, with what LITLAMP_DEBUG=1 prints")
        return BAD
    return int(status) if isinstance(status, int) else READ


def main() -> None:
    """The console script."""
    # Matrices are small here: threads for them would cost a tenth of a second to start, and help nothing.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _leave(run())


def _leave(status: int) -> NoReturn:
    """End the process at once: all is written, and to take the libraries apart would cost 0.06 s."""
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, OSError, ValueError):  # closed, or gone at the other end
            stream.flush()
    os._exit(status)
