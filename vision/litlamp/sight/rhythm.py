"""Whether a lamp keeps the rhythm of a flash, against every other way its brightness may have come about."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from litlamp.sight.eyes import logistic
from litlamp.sight.lamp_curves import by_shape
from litlamp.sight.lamp_series import Flash, leaning
from litlamp.sight.likelihood import BAD, OFF, Chances, chances_of, mean_of_logs, normal, spread_of
from litlamp.sight.lit_level import MOST

Floats = NDArray[np.float64]

# Rates and shares looked for: those of signals (0.5 to 1.5 Hz, 0.3 to 0.7 lit) and a little more each way.
SLOWEST, FASTEST = 0.45, 1.65  # Hz
_SHARES = np.linspace(0.26, 0.74, 13)
_ALL_SHARES = np.linspace(0.08, 0.92, 15)

SURE = 0.98  # below, and above 1 - SURE, the answer is "cannot tell"
SWELLS = "the lamp swells and fades as an LED lamp's ripple does against the shutter"
CLEARLY = 6.0  # nats by which one explanation must lead another to be told from it
FEWEST_EDGES = 3  # two are one dark spell, of which there are many causes

_PRIOR = 0.2  # of a lit lamp that it flashes; common practice, no source
_EDGE_ROOM = 0.1  # s
_BINS = 48  # of a period
_FINE_BINS = 192
_CURVES_PART = 0.05  # the phases near the best, of all phases, when curves are laid over a series
_HOPELESS = -40.0  # nats; below, no finer look makes a flash of it

_MAINS_RIPPLE = (100.0, 120.0)  # Hz; twice the mains
_MAINS_DRIFT = 0.002  # of it; common practice, no source
BY_MAINS = 0.5  # of flashes among those that the mains would give; set by hand
BY_SWELLING = 0.7  # and among lamps that go dark in their rhythm, but seem to drift there; likewise
BEAT_PRIOR = 0.05  # of beats among lamps that come and go at the rates of signals; common practice, no source


def weighed(times: Floats, x: Floats, prior: float) -> Flash:
    """A flash against all else, by the brightness x, shape (N,), in terms of the lit lamp at those times, s.

    `prior` : of lamps that come and go at the rates of signals, the share whose light only ripples so.
    """
    chances = chances_of(x)
    span = float(times[-1] - times[0])
    step = float(np.median(np.diff(times)))
    widths = ((0.0, 0.0), (step, step), (0.12, 0.12), (0.24, 0.2))
    rates = np.arange(SLOWEST, FASTEST, 1 / (6 * span))
    coarse = _folded(times, chances, rates, _SHARES, widths, _BINS)
    # Around the best once more, as finely as frames can tell: a sharp edge one bin late costs many nats.
    peak = np.unravel_index(np.argmax(coarse), coarse.shape)
    fine_rates = np.clip(rates[peak[0]] + np.linspace(-1, 1, 33) / (6 * span), SLOWEST, FASTEST)
    fine_shares = _SHARES[peak[1]] + np.linspace(-0.06, 0.06, 13)
    fine = _folded(times, chances, fine_rates, fine_shares, widths, _FINE_BINS)
    # The part of all flashes that the finer grid stands for.
    part = 33 / 32 * 2 / (6 * span) / (FASTEST - SLOWEST) * 13 * 0.01 / (_SHARES[-1] - _SHARES[0])
    for_flash = max(mean_of_logs(coarse), mean_of_logs(fine) + float(np.log(min(part, 1.0))))

    weights = np.exp(fine - fine.max())
    by_rate, by_share = weights.sum(axis=(1, 2, 3)), weights.sum(axis=(0, 2, 3))
    rate = float(np.average(fine_rates, weights=by_rate))
    # The posterior's own width, and what the spacing of frames leaves open.
    error = float(
        np.sqrt(np.average((fine_rates - rate) ** 2, weights=by_rate) + (0.4 * rate * step / span) ** 2)
    )
    share = float(np.average(fine_shares, weights=by_share))
    best = np.unravel_index(np.argmax(fine), fine.shape)
    # An edge counts where some frames were seen on either side of it.
    first, last = (float(fine_rates[best[0]]) * at for at in (_EDGE_ROOM, span - _EDGE_ROOM))
    edges = _edges(first, last, float(best[3]) / _FINE_BINS, float(fine_shares[best[1]]))
    against = [_unrhythmic(times, x)]
    fast = np.arange(FASTEST + 1 / (6 * span), 0.5 / step, 1 / (6 * span))
    if fast.size:
        beats = _folded(times, chances, fast, _ALL_SHARES, ((0.0, 0.0),), _BINS)
        against.append(mean_of_logs(beats) - float(np.log(4)))
    if for_flash - float(np.logaddexp.reduce(against)) < _HOPELESS:
        return Flash(0.0, None, log_ratio=for_flash - float(np.logaddexp.reduce(against)))
    # The exact curves of lamps, which tell a slow filament from a brightness that drifts.
    shapes = by_shape(times, x, (rate, error), share, step)
    for_flash = max(
        for_flash, max(shapes.led, shapes.filament) + float(np.log(_CURVES_PART * min(part, 1.0)))
    )

    # Neither its supply nor the camera makes one lamp drift alone.
    drift = _drifting(x) if prior >= BEAT_PRIOR else -np.inf
    settled = for_flash - float(np.logaddexp.reduce(against))
    ratio = for_flash - float(np.logaddexp.reduce([*against, drift]))
    flashing = logistic(ratio + np.log(_PRIOR / (1 - _PRIOR)))
    if flashing <= 1 - SURE:
        # Where it is only a drift that speaks against a flash, and the lamp does go dark, neither is sure.
        if settled > 0 and float(np.quantile(x, 0.2)) < OFF:
            rhythm = logistic(settled + np.log(_PRIOR / (1 - _PRIOR)))
            return Flash(None, SWELLS, log_ratio=ratio, leaning=leaning(rhythm * BY_SWELLING))
        return Flash(flashing, None, log_ratio=ratio)
    if flashing < SURE or edges < FEWEST_EDGES:
        too_little = "too little was seen to tell a flash from a change"
        return Flash(None, too_little, log_ratio=ratio, leaning=leaning(flashing))
    by_edges = max(shapes.led, shapes.filament) - shapes.blurred - float(np.log(prior))
    warms = shapes.filament - max(shapes.led, shapes.ripple) >= 2 * CLEARLY
    found = Flash(flashing, None, 60 * rate, 60 * error, share, ratio, by_edges)
    if by_edges < CLEARLY:
        return replace(found, flashing=None, reason=SWELLS, leaning=leaning(flashing * logistic(by_edges)))
    # Edges like a filament's seldom come from a ripple; sharp ones may well.
    ripple = _mains_in_step(times, rate, error) if prior >= BEAT_PRIOR and not warms else None
    if ripple is not None:
        by_mains = (
            f"a lamp fed by the mains would seem to flash so: {ripple:.0f} Hz against this clip's frames"
        )
        return replace(found, flashing=None, reason=by_mains, leaning=leaning(flashing * BY_MAINS))
    return found


def _edges(first: float, last: float, start: float, share: float) -> int:
    """How often the lamp goes on or off between two phases (whole ones counted), lit from `start`."""
    return sum(
        int(np.floor(last - at)) - int(np.ceil(first - at)) + 1 for at in (start % 1, (start + share) % 1)
    )


def _folded(
    times: Floats,
    chances: Chances,
    rates: Floats,
    shares: Floats,
    widths: tuple[tuple[float, float], ...],
    count: int,
) -> Floats:
    """Log-likelihood of each rhythm, shape (rates, shares, edges, phases); `count` bins a period.

    For one rate the frames are laid into the bins of one period; a rhythm then is a run of lit bins, a run of
    bins between, a run of dark ones and a run between again, and its likelihood four differences of sums.
    """
    bins = (np.outer(rates, times - times[0]) % 1.0 * count).astype(int).clip(0, count - 1)
    bins += np.arange(rates.size)[:, None] * count
    sums = []
    for chance in chances:
        laid = np.bincount(bins.ravel(), np.tile(chance, rates.size), rates.size * count)
        twice = np.tile(laid.reshape(rates.size, count), (1, 2))
        sums.append(np.concatenate([np.zeros((rates.size, 1)), np.cumsum(twice, axis=1)], axis=1))
    # Laid end to end, for one index finds its place many times as fast as two.
    lit, dark, between = (s.ravel() for s in sums)
    start = np.arange(rates.size)[:, None] * (2 * count + 1) + np.arange(count)[None, :]
    end = start + count
    lit_start, between_end = lit[start], between[end]
    out = np.empty((rates.size, shares.size, len(widths), count))
    for k, (rise, fall) in enumerate(widths):
        # In bins of this rate's period, and never more than leaves half of either run.
        up = np.round(rise * rates * count).astype(int)[:, None]
        down = np.round(fall * rates * count).astype(int)[:, None]
        for j, share in enumerate(shares):
            least = int(min(share, 1 - share) * count)
            rising, falling = np.minimum(up, least), np.minimum(down, least)
            end_lit = start + (round(share * count) - rising // 2 - falling // 2)
            end_fall = end_lit + falling
            end_dark = end - rising
            out[:, j, k] = (
                (lit.take(end_lit) - lit_start)
                + (between.take(end_fall) - between.take(end_lit))
                + (dark.take(end_dark) - dark.take(end_fall))
                + (between_end - between.take(end_dark))
            )
    return out


def _unrhythmic(times: Floats, x: Floats) -> float:
    """Evidence for a lamp that stays as it is or changes now and then, seldom or often caught dark."""
    steps = np.diff(times)
    evidences = []
    for bad_dark, dims in ((0.0, 0.0), (0.1, 0.0), (0.3, 0.0), (0.5, 0.0), (0.0, 0.7), (0.2, 0.5)):
        chances = chances_of(x, bad_dark, dims)
        for changes in (0.02, 0.12):  # a second
            evidences.append(_of_changes(steps, chances, changes))
    return float(np.logaddexp.reduce(evidences)) - float(np.log(len(evidences)))


def _drifting(x: Floats) -> float:
    evidences = [_of_drift(x, wider) for wider in (1.0, 1.5, 2.5)]
    return float(np.logaddexp.reduce(evidences)) - float(np.log(4 * len(evidences)))


def _of_drift(x: Floats, wider: float) -> float:
    """Log-likelihood of a brightness that goes from frame to frame (auto-exposure, a slow beat)."""
    # The grain of two frames, never finer than a plateau's own: stillness alone is no sign of drift.
    step = wider * spread_of(np.diff(x), 0.045, 0.3)
    before, earlier = np.roll(x, 1), np.roll(x, 2)
    before[0] = earlier[:2] = 1.0
    near = 0.5 * normal(x, before, step) + 0.5 * normal(x, earlier, step)
    return float(np.log((1 - BAD) * near + BAD / MOST).sum())


def _of_changes(steps: Floats, chances: Chances, changes: float) -> float:
    """Log-likelihood of a lamp that goes on or off at random moments, so many a second."""
    change = np.maximum(0.5 - 0.5 * np.exp(-2 * changes * steps), 1e-12)
    is_lit, is_dark = np.log(0.85) + chances.lit[0], np.log(0.15) + chances.dark[0]
    stays, turns = np.log1p(-change), np.log(change)
    for i in range(steps.size):
        was_lit, was_dark = is_lit, is_dark
        is_lit = np.logaddexp(was_lit + stays[i], was_dark + turns[i]) + chances.lit[i + 1]
        is_dark = np.logaddexp(was_dark + stays[i], was_lit + turns[i]) + chances.dark[i + 1]
    return float(np.logaddexp(is_lit, is_dark))


def _mains_in_step(times: Floats, rate: float, error: float) -> float | None:
    """The ripple of the mains that, at the times of these frames, would look like this rate; or None."""
    span = float(times[-1] - times[0])
    for ripple in _MAINS_RIPPLE:
        drift = _MAINS_DRIFT * ripple + 2 * error
        count = int(np.ceil(2 * drift * span * 6)) + 1
        for hertz in np.linspace(ripple - drift, ripple + drift, count):
            for sign in (1, -1):
                turns = (hertz - sign * rate) * times
                if abs(np.exp(2j * np.pi * turns).mean()) > 0.94:
                    return ripple
    return None
