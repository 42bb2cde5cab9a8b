"""Drawing pictures and clips of signals, with their truth."""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from litlamp.cli.shared import FOOT, Fault, aspect_said, book_named, book_option, edition_option

if TYPE_CHECKING:
    from litlamp.aspects.aspect import Aspect
    from litlamp.aspects.rulebook import Rulebook

# Options of `draw` that only a photograph, or only a clip, takes.
_STILL_ONLY = ("cut", "snow_on_plate")
_CLIP_ONLY = (
    "seconds", "fps", "motion", "rate", "lit_share", "ripple", "shutter", "pumping", "uneven", "then",
    "hidden",
)  # fmt: skip


def _size(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[int, int] | None:
    if value is None:
        return None
    wide, cross, high = value.lower().partition("x")
    if not (cross and wide.isdecimal() and high.isdecimal() and len(value) < 12):
        raise click.BadParameter(f"{value!r} is no size like 1600x1200")
    size = int(wide), int(high)
    if not 16 <= min(size) <= max(size) <= 8192:
        raise click.BadParameter(f"{value!r}: a side must be from 16 to 8192 px")
    return size


def _finite(value: object) -> bool:
    if isinstance(value, tuple):
        return all(map(_finite, value))
    return not isinstance(value, float) or math.isfinite(value)


@click.command(epilog=FOOT)
@click.argument("words")
@click.argument("out", type=click.Path(path_type=Path), metavar="OUT.png|OUT.mp4")
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True)
@click.option("--light", default="day", show_default=True, help="day, overcast, low sun, dusk or night.")
@click.option("--weather", default="clear", show_default=True, help="clear, haze, rain, snow or fog.")
@click.option(
    "--distance", type=click.FloatRange(1, 5000), metavar="METRES", help="Framed well if not given."
)
@click.option("--exposure", type=click.FloatRange(-8, 8), default=0.0, metavar="STOPS")
@click.option("--size", callback=_size, help="1600x1200 if not given, of a clip 1280x720.")
@click.option("--cut", type=click.Choice(["top", "bottom"]), help="The picture's edge cuts this end.")
@click.option("--snow-on-plate", is_flag=True)
@click.option(
    "--with", "extra", metavar="THING", help='Something that is no signal: "road light", "train" ...'
)
@click.option("--back", is_flag=True, help="The signal seen from behind.")
@click.option("--seconds", type=float, default=6.0, show_default=True, help="Clip: how long it lasts.")
@click.option("--fps", type=float, default=30.0, show_default=True, help="Clip: frames a second.")
@click.option(
    "--motion", default="hand", show_default=True, help="Clip: hand, still, zoom or approach (of a train)."
)
@click.option("--rate", type=float, metavar="RATE", help="Clip: flashes a minute.")
@click.option("--lit-share", type=float, metavar="SHARE", help="Clip: how much of a flash is lit.")
@click.option(
    "--ripple", type=float, metavar="HZ", help="Clip: makes LED lamps ripple, as at 100 or 120 on the mains."
)
@click.option("--shutter", type=float, metavar="SECONDS", help="Clip: how long a frame is exposed.")
@click.option(
    "--pumping", type=float, default=0.0, metavar="STOPS", help="Clip: by which automatic exposure hunts."
)
@click.option("--uneven", is_flag=True, help="Clip: a variable frame rate.")
@click.option(
    "--then",
    nargs=2,
    type=(float, str),
    multiple=True,
    metavar="SECONDS WORDS",
    help="Clip: changes the aspect at that time; may be repeated.",
)
@click.option(
    "--hidden", nargs=2, type=(float, float), multiple=True, metavar="SECONDS LENGTH",
    help="Clip: something passes before the signal, for so long.",
)  # fmt: skip
@click.option("--truth", type=click.Path(path_type=Path), metavar="FILE", help="Append the truth line here.")
@book_option
@edition_option
@click.pass_context
def draw(
    ctx: click.Context,
    /,
    words: str,
    out: Path,
    truth: Path | None,
    rulebook: str,
    edition: str | None,
    **scene: Any,
) -> None:
    """Draw an aspect in WORDS as a photograph or, by OUT's ending, a clip; "no signal" draws none.

    The truth line is printed, or appended to the file that --truth names.
    """
    for name, value in scene.items():
        if not _finite(value):
            raise click.UsageError(f"--{name.replace('_', '-')} takes finite numbers only")
    ending = out.suffix.lower()
    clip = ending in (".mp4", ".mov")
    if not clip and ending not in (".png", ".jpg", ".jpeg"):
        raise Fault(f"{out}: a photograph is drawn as .png or .jpg, a clip as .mp4 or .mov")
    for name in _STILL_ONLY if clip else _CLIP_ONLY:
        if ctx.get_parameter_source(name) == click.core.ParameterSource.COMMANDLINE:
            option = "--" + name.replace("_", "-")
            raise click.UsageError(f"{option} is for {'photographs' if clip else 'clips'}, not for {out}")
        del scene[name]
    book = book_named(rulebook, edition)
    aspect = None if words.strip().lower() == "no signal" else aspect_said(words)
    scene["size"] = scene["size"] or ((1280, 720) if clip else (1600, 1200))
    from litlamp.report.picture import PictureError
    from litlamp.sample import make_sample

    try:
        if clip:
            line = _draw_clip(out, aspect, book, truth, scene)
        else:
            line = make_sample(out, aspect, book, truth, **scene)
    except (ValueError, PictureError) as error:
        raise Fault(str(error)) from error
    if truth is None:
        click.echo(line)


def _draw_clip(
    out: Path, aspect: Aspect | None, book: Rulebook, truth: Path | None, scene: dict[str, Any]
) -> bytes:
    from litlamp.sample import make_clip
    from litlamp.scene.clip import draw_clip
    from litlamp.scene.film import Shutter
    from litlamp.scene.lamps_over_time import Ripple, set_flash

    rate, share, ripple, shutter = (scene.pop(name) for name in ("rate", "lit_share", "ripple", "shutter"))
    scene["uneven"] = 0.35 if scene["uneven"] else 0.0
    scene["changes"] = tuple((at, aspect_said(words)) for at, words in scene.pop("then"))
    if rate is not None or share is not None:
        scene["flashing"] = set_flash(rate, share)
    if ripple is not None:
        scene["ripple"] = Ripple(ripple, 0.4)
    if shutter is not None:
        scene["shutter"] = Shutter(shutter, min(0.012, shutter + 0.008))
    drawn = draw_clip(aspect, **scene)
    if not sys.stderr.isatty():
        return make_clip(out, drawn, book, truth)
    with click.progressbar(length=len(drawn.times), label=str(out), file=sys.stderr) as bar:
        return make_clip(out, drawn, book, truth, told=lambda _: bar.update(1))
