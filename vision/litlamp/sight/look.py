"""One picture in, the signals seen out: the whole of sight for a still."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from litlamp.aspects.aspect import COLOURS, MOST_HEADS, Arrangement, Colour, Mount, Plate
from litlamp.box import Box, union_of
from litlamp.media.frame import Frame
from litlamp.sight.alike import held_together
from litlamp.sight.asked import ask_reader
from litlamp.sight.axis import STRAY, MastLine, mast_axis, mast_direction, stagger
from litlamp.sight.beside import workers
from litlamp.sight.colour import believed, features, shade
from litlamp.sight.count import (
    AT_EDGE,
    head_belief,
    may_be_cut,
    whole_belief,
    whole_evidence,
)
from litlamp.sight.dim import bright_parts, core_light, may_be_dark
from litlamp.sight.doubt import moved
from litlamp.sight.eyes import Calibration, Eyes, load_eyes, log_odds, logistic, softmax
from litlamp.sight.find import (
    Beginning,
    HeadFound,
    PlateFound,
    distinct_plates,
    find,
    plates_below,
    usual_width,
)
from litlamp.sight.group import group
from litlamp.sight.one_camera import of_others, under_one_camera, yellows
from litlamp.sight.plates import belongs, number_read, plate_beliefs, read_letters
from litlamp.sight.rejoin import PLAIN, rejoined
from litlamp.sight.rim import red_rim
from litlamp.sight.seen import DARK, HeadSeen, LampSeen, PlateSeen, Shade, SignalSeen
from litlamp.sight.strange import unlike

Pixels = NDArray[np.uint8]
NC = len(COLOURS)
RED = COLOURS.index("red")
CAUTION: tuple[Colour, ...] = ("red", "yellow", "lunar", "green")
"""Lit colours, most restrictive first. Common practice, no source: only the rulebook orders indications, and
this serves nothing but how soon a contradicting witness is heard."""
UPON = 0.1
"""Share of the smaller of two heads' boxes that may lie on the other before they are taken for one head."""
BENEATH = 0.02
"""Heads found that are a signal by less belief are not looked at any closer."""
USUAL_SCORE = 0.75
"""The finder's score of a head for which the calibration's `floor` holds as it is."""
FLOORS = 0.0002, 0.02
"""No head is so clear, and none so faint, that the least probability of a colour is beyond these."""
_AFTER = 4 + MOST_HEADS * NC


@dataclass(frozen=True, slots=True)
class SignalRead:
    """The signal reader's answer for one window, as probabilities.

    `count` over 0 to 3 heads (0: no signal); `colours` (3, 5) by slot from the top; the rest single
    probabilities: staggered, dwarf, whole in view, each plate.
    """

    count: NDArray[np.float64]
    colours: NDArray[np.float64]
    staggered: float
    dwarf: float
    whole: float
    plates: Mapping[Plate, float]


def signal_read(answer: NDArray[np.float32], tuned: Calibration) -> SignalRead:
    """One row of the reader network's answers, tempered by calibration."""
    plates: tuple[Plate, ...] = ("A", "R", "L", "DV")
    return SignalRead(
        softmax(answer[:4], tuned.count),
        softmax(answer[4:_AFTER].reshape(MOST_HEADS, NC)),
        logistic(float(answer[_AFTER]), tuned.arrangement),
        logistic(float(answer[_AFTER + 1]), tuned.mount),
        logistic(float(answer[_AFTER + 2]), tuned.whole),
        {kind: logistic(float(answer[_AFTER + 3 + i])) for i, kind in enumerate(plates)},
    )


def look(
    frame: Frame, eyes: Eyes | None = None, beginning: Beginning | None = None
) -> tuple[SignalSeen, ...]:
    """Signals in one picture, left to right.

    Parameters
    ----------
    frame : an upright picture, RGB uint8.
    eyes : the networks; the installed ones where not given.
    beginning : what was begun while the picture was being decoded.

    Raises
    ------
    EyesError
        where the networks cannot be loaded.
    """
    eyes = eyes or load_eyes()
    found = find(frame, eyes, beginning)
    judged = judge(frame.rgb, found.heads, found.plates, eyes)
    kept = standing_clear([j for j in judged if j.belief >= j.least])
    elsewhere = of_others([yellows(head.colour for head in j.seen.heads) for j in kept])
    seen = [
        under_one_camera(j.seen, o, eyes.calibration.camera_red) for j, o in zip(kept, elsewhere, strict=True)
    ]
    seen = held_together(frame.rgb, seen, eyes.calibration.alike_red)
    return tuple(sorted(seen, key=lambda s: s.box.x0))


@dataclass(frozen=True, slots=True)
class Judged:
    """Heads that stand like one signal: what is seen if it is one, belief that it is, and what is asked.

    `boards` are the plates found on it, read or not.
    """

    seen: SignalSeen
    belief: float
    least: float
    heads: tuple[HeadFound, ...]
    read: SignalRead
    boards: tuple[PlateFound, ...] = ()


def judge(
    rgb: Pixels,
    heads: Sequence[HeadFound],
    plates: Sequence[PlateFound],
    eyes: Eyes,
    *,
    search: bool = True,
    alone: bool = True,
) -> list[Judged]:
    """The groups that heads found in a picture make, each looked at by the reader.

    What is all but sure to be no signal is left out; else no threshold is applied.

    Parameters
    ----------
    rgb : uint8 (H, W, 3), R G B; its edges are taken for the picture's.
    heads, plates : each once, px of `rgb`; of heads, faint ones too.
    search : look for further plates on the masts; where they are known, that can be spared.
    alone : this is the only look there is. Of a clip's many, some show a lamp between two flashes, and what
        is made of one such must not last: there groups are left as the finder's votes have them.
    """
    clear, faint = clear_and_faint(heads, eyes.calibration)
    groups = group(clear)
    if not groups:
        return []
    judged = []
    with workers(eyes.beside) as others:
        asked = [others.submit(ask_reader, rgb, own, eyes) for own in groups]
        # The reader may leave a processor idle: it does what will most likely be wanted next.
        plain = eyes.beside > 1 and max(h.score for h in groups[0]) >= PLAIN
        ahead = _measured(rgb, groups[0], eyes, others, search=search) if plain else None
        bright = bright_parts(rgb)
        answered = [future.result() for future in asked]
        if alone:
            answered = rejoined(answered, lambda shown: ask_reader(rgb, shown, eyes), eyes.calibration)
        for one in answered:
            own = one.heads
            read = signal_read(one.answer, eyes.calibration)
            odds = signal_odds(max(h.score for h in own), one.answer, eyes.calibration)
            belief = logistic(odds)
            if belief < BENEATH:
                continue
            least = _least(own, eyes.calibration)
            searched = search and belief >= least
            if ahead is not None and own is groups[0]:
                measured = ahead
            else:
                measured = _measured(rgb, own, eyes, others, search=searched)
            if searched:
                plates = distinct_plates([*plates, *measured.plates.result()])
            boards = tuple(p for p in plates if belongs(p, own))
            letters = read_letters(rgb, boards, eyes)
            size = rgb.shape[1], rgb.shape[0]
            pixels = _Pixels(size, measured.lamps, bright, one.light, measured.mast.result(), letters)
            apart = [h for h in clear if all(h is not o for o in one.found)]
            strange = unlike(odds, usual_width(own), eyes.calibration)
            seen = _signal(pixels, own, read, eyes.calibration, apart, faint, strange)
            judged.append(Judged(seen, belief, least, own, read, boards))
    return judged


@dataclass(frozen=True, slots=True)
class _Lamp:
    """What was measured of one head's lamp.

    Attributes
    ----------
    witness : what its pixels say of its colour, in the order of COLOURS; `shade` is how it looks.
    rim : how plainly its rim is red.
    core : the light of its lens, linear, 0 to 1.
    """

    witness: NDArray[np.float64]
    shade: Shade | None
    rim: float
    core: float


@dataclass(frozen=True, slots=True)
class _Measured:
    """What a signal's own pixels say: its lamps, and the rest of it as soon as that is there."""

    lamps: Sequence[_Lamp]
    mast: Future[MastLine | None]
    plates: Future[list[PlateFound]]


def _measured(
    rgb: Pixels, heads: tuple[HeadFound, ...], eyes: Eyes, others: Executor, *, search: bool
) -> _Measured:
    """Of these heads; plates are only sought where `search` says so."""
    plates = others.submit(lambda: plates_below(rgb, heads, eyes) if search else [])
    mast = others.submit(_mast, rgb, heads)
    lamps = []
    for head in heads:
        at = head.x, head.y, head.lens
        seen = features(rgb, *at)
        lamps.append(_Lamp(_witness(seen), shade(seen), red_rim(rgb, *at), core_light(rgb, *at)))
    return _Measured(lamps, mast, plates)


@dataclass(frozen=True, slots=True)
class _Pixels:
    """What was measured of a signal beside the two networks that name its heads.

    Attributes
    ----------
    size : of the picture, width and height, px.
    lamps : of each head.
    bright : the light of the picture's bright parts, linear, 0 to 1.
    light : how light it is about the heads, as `light_about` says.
    mast : its lean, where it was seen.
    boards : its plates.
    """

    size: tuple[int, int]
    lamps: Sequence[_Lamp]
    bright: float
    light: float
    mast: MastLine | None
    boards: Sequence[PlateSeen]


def clear_and_faint(
    heads: Sequence[HeadFound], tuned: Calibration
) -> tuple[list[HeadFound], list[HeadFound]]:
    """The heads that are taken for such, and what scored too low for one."""
    clear = [h for h in heads if h.score >= tuned.head_score]
    return clear, [h for h in heads if h.score < tuned.head_score]


def standing_clear(judged: Sequence[Judged]) -> list[Judged]:
    """Without those of which a head lies on a head of one that is believed more: a part of it, seen twice."""
    kept: list[Judged] = []
    for one in sorted(judged, key=lambda j: -j.belief):
        taken = [h.box for better in kept for h in better.heads]
        if not any(_lies_on(h.box, box) for h in one.heads for box in taken):
            kept.append(one)
    return kept


def _lies_on(box: Box, other: Box) -> bool:
    return box.overlap(other) > UPON * min(box.area, other.area)


def signal_belief(best: float, answer: NDArray[np.float32], tuned: Calibration) -> float:
    """Belief that heads found are a signal facing the camera.

    Parameters
    ----------
    best : the greatest of the finder's scores for these heads, 0 to 1.
    answer : the reader's logits for their window, (27,).
    """
    return logistic(signal_odds(best, answer, tuned))


def signal_odds(best: float, answer: NDArray[np.float32], tuned: Calibration) -> float:
    """Log-odds of the same."""
    heads, reader = signal_evidence(best, answer)
    return tuned.signal_bias + tuned.signal_heads * heads + tuned.signal_reader * reader


def signal_evidence(best: float, answer: NDArray[np.float32]) -> tuple[float, float]:
    """The finder's and the reader's log-odds for a signal; parameters as for `signal_belief`."""
    return log_odds(best), log_odds(1.0 - float(softmax(answer[:4])[0]))


def _least(heads: Sequence[HeadFound], tuned: Calibration) -> float:
    lit = any(int(np.argmax(h.colours)) != DARK for h in heads)
    return tuned.signal_least if lit else tuned.unlit_least


def _signal(
    pixels: _Pixels,
    heads: Sequence[HeadFound],
    read: SignalRead,
    tuned: Calibration,
    others: Sequence[HeadFound],
    faint: Sequence[HeadFound],
    strange: float,
) -> SignalSeen:
    n = len(heads)
    # The reader's slots can be laid against the heads found only where it counts as many.
    agrees = float(read.count[n] / max(1.0 - read.count[0], 1e-6))
    colours: list[NDArray[np.float64]] = []
    rims: list[float] = []
    apart_most = 0.0
    for slot, (head, lamp) in enumerate(zip(heads, pixels.lamps, strict=True)):
        finder, reader = softmax(head.colours), read.colours[slot]
        colour, apart = pool_colour(finder, reader, lamp.witness, agrees, tuned, head.lens, head.score)
        lead = int(colour.argmax())
        rims.append(0.0 if lead in (RED, DARK) else lamp.rim)
        colour = moved(colour, tuned.rim_red * rims[slot], of=lead, to=RED)
        colours.append(moved(colour, tuned.strange_share * strange))
        apart_most = max(apart_most, apart)
    dim = may_be_dark(
        [lamp.core for lamp in pixels.lamps], [c[DARK] < 0.5 for c in colours], pixels.bright, tuned
    )
    seen = []
    for head, lamp, belief, unlit, rim in zip(heads, pixels.lamps, colours, dim, rims, strict=True):
        colour = moved(belief, unlit, to=DARK)
        lit = colour[DARK] < 0.5
        seen.append(
            HeadSeen(
                head.box,
                LampSeen(head.x, head.y, head.lens) if lit else None,
                _named(colour),
                present=head_belief(head, n, read, tuned),
                red_rim=rim,
                unlit=unlit,
                shade=lamp.shade if lit else None,
            )
        )
    lettered = [p.box for p in pixels.boards if max(p.letters, key=lambda k: p.letters[k]) != "other"]
    box = union_of([*(h.box for h in seen), *lettered])
    whole = whole_belief(whole_evidence(heads, pixels.size, read, tuned, others, faint, pixels.light), tuned)
    if may_be_cut(heads, pixels.size, read.dwarf, tuned):
        whole = min(whole, AT_EDGE)
    mount: dict[Mount, float] = {"mast": 1.0 - read.dwarf, "dwarf": read.dwarf}
    staggered, axis = _stand(heads, read, pixels.mast, tuned)
    arrangement: dict[Arrangement, float] = {"vertical": 1.0 - staggered, "staggered": staggered}
    return SignalSeen(
        box=box.clamp(*pixels.size),
        heads=tuple(seen),
        mount=mount,
        arrangement=arrangement,
        plates=plate_beliefs(pixels.boards, read.plates, tuned),
        plates_seen=tuple(pixels.boards),
        number=number_read(pixels.boards, tuned),
        whole=whole * (1.0 - tuned.strange_share * max(2 * strange - 1, 0.0)),
        resolution=usual_width(heads),
        axis=axis,
        strange=max(strange, apart_most),
    )


def colour_witness(rgb: Pixels, head: HeadFound) -> NDArray[np.float64]:
    """What the lamp's own pixels say of its colour, in the order of COLOURS."""
    return _witness(features(rgb, head.x, head.y, head.lens))


def _witness(seen: NDArray[np.float64] | None) -> NDArray[np.float64]:
    told = believed(seen)
    return np.array([told[name] for name in COLOURS])


def pool_colour(
    finder: NDArray[np.float64],
    reader: NDArray[np.float64],
    witness: NDArray[np.float64],
    agrees: float,
    tuned: Calibration,
    lens: float = 8.0,
    score: float = USUAL_SCORE,
) -> tuple[NDArray[np.float64], float]:
    """One belief over the colours, and how far apart those asked were (0 to 1).

    Parameters
    ----------
    finder, reader : the two networks' beliefs, (5,), in the order of COLOURS.
    witness : the lamp's pixels' own, for a lamp taken to be lit; all equal where it cannot tell.
    agrees : the reader's belief in as many heads as were found.
    lens : its diameter, px; of larger lamps the networks are believed more.
    score : the finder's for the head; where it is low, every colour stays possible.

    Notes
    -----
    The networks' log-beliefs are added by weight; the reader's weight falls with its agreement on the number
    of heads. Where they differ, part of the belief goes to their plain mean, which holds both opinions.

    The witness only ever adds doubt. Where it is sure of another colour than the leading one, a share of the
    leading colour's belief goes to that colour; no other belief changes. For a more restrictive colour it
    is heard sooner. Its agreement earns nothing: so it can neither dilute sure networks nor talk them into
    dropping a colour that they held possible.
    """
    finder, reader = (_dark_as_usual(p, tuned) for p in (finder, reader))
    size = float(np.clip(np.log2(max(lens, 1.0) / 8.0), -2.0, 2.0))
    own = max(tuned.finder_colour + tuned.finder_size * size, 0.0)
    other_own = max(tuned.reader_colour + tuned.reader_size * size, 0.0) * agrees
    log = own * np.log(finder + 1e-6) + other_own * np.log(reader + 1e-6)
    pooled = np.exp(log - log.max())
    pooled /= pooled.sum()
    apart = agrees * 0.5 * float(np.abs(finder - reader).sum())
    share = min(tuned.disagree * apart, 1.0)
    belief = (1 - share) * pooled + share * (finder + agrees * reader) / (1 + agrees)
    lead, other = int(belief.argmax()), int(witness.argmax())
    doubt = _doubt(lead, other, float(witness[other]), tuned)
    moved = min(tuned.witness_colour * doubt, 1.0) * belief[lead]
    belief[lead] -= moved
    belief[other] += moved
    fainter = math.exp(-tuned.floor_score * (log_odds(score) - log_odds(USUAL_SCORE)))
    belief = belief + min(max(tuned.floor * fainter, FLOORS[0]), FLOORS[1])
    return belief / belief.sum(), max(apart, doubt)


def _dark_as_usual(colours: NDArray[np.float64], tuned: Calibration) -> NDArray[np.float64]:
    """A network's belief, had it learned from dark lamps no oftener than they are."""
    weighed = colours.copy()
    weighed[DARK] *= math.exp(tuned.dark_usual)
    weighed /= weighed.sum()
    return weighed


def _doubt(lead: int, other: int, sure: float, tuned: Calibration) -> float:
    """How loudly, 0 to 1, the witness speaks for another colour than the leading one."""
    if lead == other or DARK in (lead, other):
        return 0.0  # It cannot see whether a lamp is lit.
    stricter = CAUTION.index(COLOURS[other]) < CAUTION.index(COLOURS[lead])
    least = tuned.witness_restrictive if stricter else tuned.witness_other
    return max(sure - least, 0.0) / max(1.0 - least, 1e-6)


def _mast(rgb: Pixels, heads: Sequence[HeadFound]) -> MastLine | None:
    """The mast's lean about these heads; None of one alone, which cannot be staggered."""
    if len(heads) < 2:
        return None
    around = union_of(head.box for head in heads)
    # The mast shows best just below the heads.
    return mast_direction(rgb, Box(around.x0, around.y0, around.x1, around.y1 + 2 * usual_width(heads)))


def _stand(
    heads: Sequence[HeadFound], read: SignalRead, mast: MastLine | None, tuned: Calibration
) -> tuple[float, tuple[float, float, float, float] | None]:
    """Belief in staggered heads, and the mast's line from the top head to the lowest."""
    if len(heads) < 2:
        return 0.0, None
    at = [(*h.box.centre, h.box.width) for h in heads]
    blur = tuned.geometry_px / max(usual_width(heads) * min(h.scale for h in heads), 1e-6)
    boxes = stagger(at, mast, float(np.hypot(tuned.geometry_jitter, blur)))["staggered"]
    staggered = pool_arrangement(read.staggered, boxes, tuned)
    axis = mast_axis(at, staggered > 0.5, mast)
    return staggered, (*axis.foot(*at[0][:2]), *axis.foot(*at[-1][:2]))


def pool_arrangement(reader: float, boxes: float, tuned: Calibration) -> float:
    """Belief in staggered heads from the reader's and that of the boxes, as the sum of their log-odds.

    Neither may be surer than the boxes can ever be (axis.STRAY), so that two sure and opposite answers leave
    both arrangements open.
    """
    odds = sum(w * log_odds(p, STRAY) for w, p in ((1.0, reader), (tuned.geometry_weight, boxes)))
    return logistic(odds)


def _named(colour: NDArray[np.float64]) -> Mapping[Colour, float]:
    return {name: float(p) for name, p in zip(COLOURS, colour, strict=True)}
