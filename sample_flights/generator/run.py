"""Runs a batch: aircraft, pilots and gusts together, with everything kept."""

from __future__ import annotations

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


def fly(settings: list[Setting], longest_s: float) -> list[Flown]:
    """Simulate all ``settings`` side by side for at most ``longest_s`` seconds."""
    batch, pilots, gust_noise, pilot_noise = _prepare(settings, longest_s)
    steps = round(longest_s / STEP)
    history = np.empty((steps, len(CHANNELS), batch.size), dtype=np.float32)
    ends = np.full(batch.size, steps)
    gusts = _Gusts(batch, gust_noise)
    get_seen, get_all = attrgetter(*SEEN_BY_PILOT), attrgetter(*CHANNELS)
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
    return [_collect(history, i, min(int(ends[i]), steps), pilots[i], settings[i])
            for i in range(batch.size)]  # fmt: skip


def _prepare(settings: list[Setting], longest_s: float) -> tuple[Batch, list[Pilot], Array, Array]:
    """Ground, aircraft, pilots and the noise that moves air and hands."""
    ticks = int((longest_s + SETTLE) / (STEP * PILOT_EVERY)) + 2
    tracks, gust_noise, pilot_noise, pilots = [], [], [], []
    for setting in settings:
        # A source of its own for each, so that a longer run begins as the shorter one did.
        ground, air, hand = (np.random.default_rng((*setting.seed, k)) for k in range(3))
        tracks.append(surface.make_tracks(setting.roughness_m, ground))
        gust_noise.append(air.standard_normal((ticks, 3)).T)
        pilot_noise.append(hand.standard_normal(ticks))
        pilots.append(Pilot(setting.plan, setting.build["mass"], setting.build["air_density"]))
    batch = Batch(stack_builds([s.build for s in settings]), tracks)
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
        hands.append((hand.throttle, hand.elevator, hand.aileron, hand.steer, hand.brake))
    table = np.array(hands).T
    batch.throttle, batch.elevator_command, batch.aileron_command = table[0], table[1], table[2]
    batch.steer, batch.brake = table[3], table[4]
    return bool((ends <= k).all())


def _collect(
    history: npt.NDArray[np.float32], i: int, count: int, pilot: Pilot, setting: Setting
) -> Flown:
    block = np.ascontiguousarray(history[:count, :, i].T)
    channel = {name: block[j] for j, name in enumerate(CHANNELS)}
    return Flown(STEP * np.arange(count, dtype=np.float64), channel, list(pilot.events), setting)
