"""Flights seen by several loggers, each with its own clock, format and sensors."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np

from flightlog.recording import Receipt, Recording, UtcRelation
from tests.synthetic import Story

NOON = 1_804_500_000.0
"""Unix time at zero of the stories' own clock [s]."""

CARD_CLOCK = UtcRelation(NOON, 60.0, "the device's own clock", zone_known=False)


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def one_flight(seed: int = 0, *, start_s: float = 100.0) -> Story:
    """A flight with two circuits whose turns and speeds are its own."""
    rng = np.random.default_rng(seed)
    story = Story(start_s=start_s).rest(20.0)
    story.event("roll").roll(12.0 + rng.uniform(0, 3)).event("liftoff").climb(
        30.0 + rng.uniform(0, 20)
    )
    for _ in range(4):
        story.go(rng.uniform(6, 14), speed=rng.uniform(12, 19), turn_deg=rng.uniform(100, 200))
        story.go(rng.uniform(6, 14), speed=rng.uniform(12, 19), height=rng.uniform(25, 60))
    return story.descend().event("touchdown").stop().rest(20.0)


def days_work(seeds: tuple[int, ...]) -> tuple[Story, list[tuple[float, float]]]:
    """Several flights of one day as one story, with the time of each."""
    story = Story(start_s=100.0)
    spans = []
    for seed in seeds:
        begin = story.now
        flight = one_flight(seed)
        for name in ("speed", "height", "power", "course", "shake"):
            getattr(story, name).extend(getattr(flight, name))
        spans.append((begin, story.now))
        story.rest(240.0)
    return story, spans


def logger(
    story: Story,
    file: str,
    *,
    clock_s: float = 0.0,
    format: str = "dataflash",
    utc: UtcRelation | None = None,
    **look: object,
) -> Recording:
    """Look at a story with a logger whose clock is ahead by so much."""
    seen = story.recording(**look)  # type: ignore[arg-type]
    return dressed(
        seen,
        file,
        clock_s=clock_s,
        format=format,
        utc=UtcRelation(NOON - clock_s, 0.2, "fixes") if utc is None else utc,
    )


def card(
    story: Story, file: str = "card.csv", *, clock_s: float = 0.0, **look: object
) -> Recording:
    """A transmitter's card: fixes at 2 Hz, battery, link; local time that was set by hand."""
    options = {"sensors": "gps battery", "gps_hz": 2.0, "slow_hz": 2.0, "seed": 9, **look}
    return logger(
        story,
        file,
        clock_s=clock_s,
        format="transmitter",
        utc=replace(CARD_CLOCK, offset_s=NOON + 3600.0 - 7.0 - clock_s),
        **options,
    )


def dressed(
    recording: Recording,
    file: str,
    *,
    clock_s: float = 0.0,
    format: str = "dataflash",
    utc: UtcRelation | None = None,
    without: tuple[str, ...] = (),
) -> Recording:
    """Give tables a clock that is ahead by so much, and a receipt."""
    tables = {
        name: recording[name].assign(time_s=recording[name]["time_s"] + clock_s)
        for name in recording
        if name not in without
    }
    receipt = Receipt(
        file,
        1000 * sum(len(t) for t in tables.values()),
        digest(f"{file} {clock_s}"),
        format,
        1,
        utc=utc or UtcRelation(),
        rows={name: len(t) for name, t in tables.items()},
    )
    return Recording(tables, receipt, findings=recording.findings)


def cut(recording: Recording, low_s: float, high_s: float, file: str) -> Recording:
    """Give the rows of a stretch of time, as another file."""
    tables = {
        name: t[(t["time_s"] >= low_s) & (t["time_s"] < high_s)].reset_index(drop=True)
        for name, t in ((n, recording[n]) for n in recording)
    }
    receipt = replace(
        recording.receipt,
        file=file,
        sha256=digest(file),
        size=1000 * sum(len(t) for t in tables.values()),
    )
    return Recording(tables, receipt)
