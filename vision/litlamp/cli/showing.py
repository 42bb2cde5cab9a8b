"""The local page, and the proof of an installation."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from litlamp.cli.shared import BAD, FOOT, READ, Fault

if TYPE_CHECKING:
    pass


@click.command(epilog=FOOT)
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="0.0.0.0 lets a phone on the same network in."
)
@click.option("--port", type=click.IntRange(1, 65535), default=8077, show_default=True)
@click.option(
    "--data", type=click.Path(path_type=Path), metavar="DIR", help="Where progress and collection are kept."
)
@click.option("--workers", type=click.IntRange(1, 16), default=1, show_default=True, help="Readers at work.")
def page(host: str, port: int, data: Path | None, workers: int) -> None:
    """The learner's page in a browser: read, learn, practise, keep. Needs the extra: litlamp[page].

    Only this computer can reach it unless --host says otherwise; then a token is asked for.
    """
    from litlamp.aspects.rulebook import RulebookError
    from litlamp.page.start import StartError, invitation, prepared
    from litlamp.page.store import StoreError

    try:
        from litlamp.page.server import serve
    except ImportError as error:
        if (error.name or "").split(".")[0] not in ("starlette", "uvicorn", "jinja2", "python_multipart"):
            raise
        raise Fault("the page needs an extra: pip install 'litlamp[page]'") from None
    try:
        settings = prepared(host, port, data, workers)
        serve(settings, ready=lambda: click.echo(invitation(settings), err=True))
    except (StartError, StoreError, RulebookError) as error:
        raise Fault(str(error)) from error


@click.command(epilog=FOOT)
@click.pass_context
def selfcheck(ctx: click.Context) -> None:
    """Prove this installation without a network: weights, rulebook, a reading of each packaged sample."""
    from litlamp.selfcheck import checks

    sound = True
    for check in checks():
        click.echo(f"{'ok  ' if check.sound else 'FAIL'} {check.words}")
        sound = sound and check.sound
    ctx.exit(READ if sound else BAD)
