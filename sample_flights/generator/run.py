"""Runs a batch: aircraft, pilots and gusts together, with everything kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from operator import attrgetter

import numpy as np
import numpy.typing as npt

from . import surface
from .aircraft import Array, stack_builds
from .dynamics import CHANNELS, PILOT_EVERY, SEEN_BY_PILOT, STEP, Batch
from .pilot import Pilot, Plan, Seen

SETTLE = 2.0  # s before time 0, in which the aircraft sinks onto its legs


@dataclass
class Setting:
    """One flight to simulate: aircraft and air (`Build` by name), ground, plan, random seed."""

    build: dict[str, float]
    roughness_m: float
    plan: Plan
    seed: tuple[int, ...]


@dataclass
class Flown:
    """One simulated flight, every step of it.

    Attributes
    ----------
    time : array
        [s] from the start.
    channel : mapping
        Name of `CHANNELS` -> array.
    events : list
        From the pilot.
    setting : Setting
        What was simulated.
    """

    time: Array
    channel: dict[str, npt.NDArray[np.float32]]
    events: list[tuple[float, str]]
    setting: Setting

    def __getitem__(self, name: str) -> npt.NDArray[np.float32]:
        return self.channel[name]


class _Gusts:
    """First-order gusts, rounded off by the size of the wing; small near the ground."""

    def __init__(self, batch: Batch, noise: Array) -> None:
        self._batch, self._noise = batch, noise
        self._raw = np.zeros((3, batch.size))
        self._smooth = np.zeros((3, batch.size))
        b = batch.build
        self._sigma = np.stack([b.gust, 0.8 * b.gust, 0.5 * b.gust])
        self._keep = np.exp(-PILOT_EVERY * STEP / b.gust_time)

    def update(self, tick: int) -> None:
        drive = self._sigma * np.sqrt(1.0 - self._keep**2)
        self._raw = self._raw * self._keep + drive * self._noise[:, tick % self._noise.shape[1]]
        self._smooth += (self._raw - self._smooth) * (PILOT_EVERY * STEP / 0.13)
        b = self._batch
        high = np.clip((b.h - b.build.slope * b.s) / 10.0, 0.0, 1.0)
        # Vertical gusts die out at the ground, horizontal ones keep two thirds of theirs.
        share = np.stack([0.65 + 0.35 * high, 0.65 + 0.35 * high, 0.10 + 0.90 * high])
        b.gust = self._smooth * share


def _plain_pilot(setting: Setting) -> Pilot:
    return Pilot(setting.plan, setting.build["mass"], setting.build["air_density"])


@dataclass(frozen=True)
class Model:
    """What is simulated: kind of aircraft, kind of pilot, and what is kept of every step."""

    batch_of: Callable[[list[Setting], list[npt.NDArray[np.float32]]], Batch]
    pilot_of: Callable[[Setting], Pilot]
    channels: tuple[str, ...]


def _plain_batch(settings: list[Setting], tracks: list[npt.NDArray[np.float32]]) -> Batch:
    return Batch(stack_builds([s.build for s in settings]), tracks)


PLAIN = Model(_plain_batch, _plain_pilot, CHANNELS)


def fly(settings: list[Setting], longest_s: float) -> list[Flown]:
    """Simulate all ``settings`` side by side for at most ``longest_s`` seconds."""
    return list(iterate_flown(settings, longest_s))


def iterate_flown(
    settings: list[Setting], longest_s: float, model: Model = PLAIN
) -> Iterator[Flown]:
    """Simulate as `fly` does, and hand the flights over one at a time, which saves memory."""
    batch, pilots, gust_noise, pilot_noise = _prepare(settings, longest_s, model)
    steps = round(longest_s / STEP)
    history = np.empty((steps, len(model.channels), batch.size), dtype=np.float32)
    ends = np.full(batch.size, steps)
    gusts = _Gusts(batch, gust_noise)
    get_seen, get_all = attrgetter(*SEEN_BY_PILOT), attrgetter(*model.channels)
    first = -round(SETTLE / STEP)
    for k in range(first, steps):
        if k % PILOT_EVERY == 0:
            tick = (k - first) // PILOT_EVERY
            gusts.update(tick)
            if k >= 0 and _ask_pilots(batch, pilots, get_seen(batch), k, pilot_noise, ends):
                steps = k
                break
            if k < 0:
                batch.brake[:] = 1.0
        batch.step()
        if k < 0:
            batch.energy[:] = 0.0
            batch.charge[:] = 0.0
        else:
            history[k] = get_all(batch)
    for i in range(batch.size):
        count = min(int(ends[i]), steps)
        yield _collect(history, i, count, pilots[i], settings[i], model.channels)


def _prepare(
    settings: list[Setting], longest_s: float, model: Model
) -> tuple[Batch, list[Pilot], Array, Array]:
    """Ground, aircraft, pilots and the noise that moves air and hands."""
    ticks = int((longest_s + SETTLE) / (STEP * PILOT_EVERY)) + 2
    tracks, gust_noise, pilot_noise, pilots = [], [], [], []
    for setting in settings:
        # A source of its own for each, so that a longer run begins as the shorter one did.
        ground, air, hand = (np.random.default_rng((*setting.seed, k)) for k in range(3))
        tracks.append(surface.make_tracks(setting.roughness_m, ground))
        gust_noise.append(air.standard_normal((ticks, 3)).T)
        pilot_noise.append(hand.standard_normal(ticks))
        pilots.append(model.pilot_of(setting))
    batch = model.batch_of(settings, tracks)
    return batch, pilots, np.stack(gust_noise, axis=-1), np.stack(pilot_noise)


def _ask_pilots(
    batch: Batch,
    pilots: list[Pilot],
    seen: tuple[Array, ...],
    k: int,
    noise: Array,
    ends: npt.NDArray[np.int64],
) -> bool:
    """Let every pilot act; True once all are done."""
    t = k * STEP
    hands = []
    for i, row in enumerate(np.stack(seen).T.tolist()):
        pilot = pilots[i]
        hand = pilot.act(t, Seen(*row), noise[i, k // PILOT_EVERY])
        if pilot.done and ends[i] > k:
            ends[i] = k
        hands.append((hand.throttle, hand.elevator, hand.aileron, hand.steer, hand.brake,
                      hand.rudder))  # fmt: skip
    table = np.array(hands).T
    batch.throttle, batch.elevator_command, batch.aileron_command = table[0], table[1], table[2]
    batch.steer, batch.brake, batch.rudder_command = table[3], table[4], table[5]
    return bool((ends <= k).all())


def _collect(
    history: npt.NDArray[np.float32],
    i: int,
    count: int,
    pilot: Pilot,
    setting: Setting,
    channels: tuple[str, ...],
) -> Flown:
    block = np.ascontiguousarray(history[:count, :, i].T)
    channel = {name: block[j] for j, name in enumerate(channels)}
    return Flown(STEP * np.arange(count, dtype=np.float64), channel, list(pilot.events), setting)
