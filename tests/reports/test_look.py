"""The palette by numbers: contrast of texts, lines that stay apart for any eyes and in greys."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from flightlog.reports import look

# Machado, Oliveira, Fernandes (2009), severity 1.0, for linear RGB.
EYES = {
    "usual": np.eye(3),
    "no red": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no green": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "no blue": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
APART = 15
"""CIE 1976 colour difference; 2.3 is just noticeable, and lines are thin."""
LIGHTER = 8
"""Steps of CIE lightness between lines, for prints in greys."""


def linear(colour: str) -> np.ndarray:
    rgb = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """Contrast by WCAG 2.2."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    to_xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    xyz = to_xyz @ np.clip(rgb, 0, 1) / [0.95047, 1.0, 1.08883]
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("text", [look.INK, look.GREY, look.ACCENT])
@pytest.mark.parametrize("behind", [look.PAPER, look.WASH])
def test_texts_reach_seven_to_one(text, behind):
    assert contrast(text, behind) >= 7


def test_what_is_written_on_black_reaches_it_too():
    assert contrast(look.PAPER, look.INK) >= 7


@pytest.mark.parametrize("colour", look.LINES)
def test_lines_stand_out_from_paper(colour):
    assert contrast(colour, look.PAPER) >= 3


@pytest.mark.parametrize("eyes", EYES)
def test_lines_stay_apart_for_any_eyes(eyes):
    seen = [lab(np.array(EYES[eyes]) @ linear(colour)) for colour in look.LINES]
    nearest = min(float(np.linalg.norm(a - b)) for a, b in combinations(seen, 2))

    assert nearest >= APART


def test_lines_stay_apart_in_greys():
    light = sorted(lab(np.full(3, luminance(colour)))[0] for colour in look.LINES)

    assert min(np.diff(light)) >= LIGHTER


def test_each_state_has_a_shape_and_no_two_opposites_share_a_block():
    assert look.state_class("held") != look.state_class("released")
    assert 3 == len({look.state_class(w) for w in ("met", "not met", "not shown")})
    assert len({look.shape(w) for w in ("met", "not met", "not shown", "not assessable")}) == 4
    assert len({look.shape(w) for w in ("released", "held", "ready")}) == 3
    assert look.shape("a word that is none") == "–"
