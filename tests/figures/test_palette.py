"""Colours of series stay apart for readers with a colour-vision deficiency, and on both pages."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from drypoint.figures.style import ROLES, SERIES

# Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291, severity 1.
SEEN = {
    "usual": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
         [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
         [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
         [0.004733, 0.691367, 0.303900]]
    ),
}  # fmt: skip


def linear(colour: str) -> np.ndarray:
    c = np.array(to_rgb(colour))
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* under D65."""
    m = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x = m @ np.clip(rgb, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(x > 216 / 24389, np.cbrt(x), (24389 / 27 * x + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a: str, b: str) -> float:
    """Contrast ratio of WCAG 2."""
    y = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b))
    return (y[1] + 0.05) / (y[0] + 0.05)


@pytest.mark.parametrize("page", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("eye", SEEN)
def test_first_four_series_stay_apart(eye: str, page: int) -> None:
    seen = {s: lab(SEEN[eye] @ linear(ROLES[s][page])) for s in SERIES[:4]}
    for a, b in combinations(seen, 2):
        assert np.linalg.norm(seen[a] - seen[b]) > 25, (a, b)


@pytest.mark.parametrize("page", [0, 1], ids=["light", "dark"])
def test_words_and_lines_stand_out_from_the_page(page: int) -> None:
    paper = ROLES["paper"][page]
    assert contrast(ROLES["ink"][page], paper) > 7
    assert contrast(ROLES["soft"][page], paper) > 4.5
    for s in SERIES[:4]:
        assert contrast(ROLES[s][page], paper) > 3, s


def test_roles_have_colours_of_their_own() -> None:
    assert len({pair[0] for pair in ROLES.values()}) == len(ROLES)
