"""How near a video comes: ``python -m tests.groundtests.video_reach [SEEDS]``.

Rendered ring-downs of one mode, in two codings, the marker named or found; the reduction is that of
an accelerometer's file, and beside it a least-squares fit of a damped cosine.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.groundtests.tip_video import read_tip_video
from tests.groundtests.video_made import FloatArray, Scene, write_video

CASES = (
    ("mp4v", ".mp4", 60.0, {}),
    ("MJPG", ".avi", 120.0, {}),
    ("mp4v", ".mp4", 60.0, {"noise": 10.0, "exposure": 0.8, "flicker": 0.1}),
    ("mp4v", ".mp4", 60.0, {"shake_px": 6.0}),
)


def fitted(time_s: FloatArray, y: FloatArray, start_s: float) -> tuple[float, float]:
    """Fit one damped cosine after the release: natural frequency [Hz], damping ratio."""
    use = np.isfinite(y) & (time_s > start_s)
    t, y = time_s[use] - start_s, y[use]
    even = np.linspace(t[0], t[-1], len(t))
    shape = np.abs(np.fft.rfft(np.interp(even, t, y - y.mean()), 8 * len(t)))
    first = float(np.argmax(shape) / (8 * len(t) * (even[1] - even[0])))

    def off(p: FloatArray) -> FloatArray:
        swing = np.exp(-p[1] * t)
        basis = np.stack(
            [swing * np.cos(2 * np.pi * p[0] * t), swing * np.sin(2 * np.pi * p[0] * t), t**0]
        )
        parts = np.linalg.lstsq(basis.T, y, rcond=None)[0]
        return np.asarray(y - parts @ basis)

    f, rate = least_squares(off, [first, 0.5], x_scale=[0.1, 0.5]).x
    natural = float(np.hypot(f, rate / (2 * np.pi)))
    return natural, float(rate / (2 * np.pi * natural))


def reduced(table: object) -> tuple[float, float]:
    """Reduce as the program does; NaN where it withholds."""
    kind = GROUND_KINDS["ringdown"]
    answer = kind.reduce([table], kind.setup())  # type: ignore[list-item]
    figures = answer.figures
    scale = (1.0, 0.01)  # damping is given in %
    names = ("ringdown.first.frequency", "ringdown.first.damping")
    return tuple(
        figures[n].quantity.value * k if n in figures else np.nan
        for n, k in zip(names, scale, strict=True)
    )  # type: ignore[return-value]


def main(seeds: int = 10) -> None:
    """Print a table."""
    print("inside: frequency within 1 % and damping within 15 %, by the program's own reduction")
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as at:
        for code, ending, rate_hz, more in CASES:
            scene = Scene(rate_hz=rate_hz, **more)
            rows = [_once(Path(at) / f"a{ending}", scene, seed, code) for seed in range(seeds)]
            for k, named in enumerate(("named", "found")):
                f, z, rf, rz, px = np.abs(np.array([row[k] for row in rows])).T
                inside = np.mean((rf < 0.01) & (rz < 0.15))
                print(f"{code} {rate_hz:.0f}/s {more}, marker {named}, {seeds} seeds:")
                print(f"  fit      frequency {100 * f.max():.3f} %, damping {100 * z.max():.2f} %")
                print(
                    f"  reduced  frequency {100 * rf.max():.3f} %, damping {100 * rz.max():.2f} %"
                )
                print(
                    f"  place {np.sqrt(np.mean(px**2)):.3f} px rms, inside {inside:.3f}", flush=True
                )


def _once(path: Path, scene: Scene, seed: int, code: str) -> list[tuple[float, ...]]:
    painter = write_video(path, scene, seed, code)
    still = {"ref_px": painter.corner_px} if scene.shake_px else {}
    named = {"marker_px": painter.marker_px, "marker_size_px": 21}
    return [_errors(path, scene, {**named, **still}), _errors(path, scene, still)]


def _errors(path: Path, scene: Scene, settings: dict[str, object]) -> tuple[float, ...]:
    table = read_tip_video(path, settings).table
    time_s, y = table.columns["time"], table.columns["signal"]
    true = scene.up_px(time_s)
    good = np.isfinite(y)
    basis = np.stack([true[good], np.ones(np.count_nonzero(good))], axis=1)
    error = y[good] - basis @ np.linalg.lstsq(basis, y[good], rcond=None)[0]
    f, z = fitted(time_s, y, scene.release_s)
    rf, rz = reduced(table)
    true_f, true_z = scene.frequency_hz, scene.damping
    off = (f / true_f - 1, z / true_z - 1, rf / true_f - 1, rz / true_z - 1)
    return (*off, float(error.std()))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
