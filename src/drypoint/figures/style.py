"""How all figures look: colours with a role, sizes, and settings that do not depend on the user.

Colours are named by what they are for. The six series colours differ in lightness as well as in
hue, so that readers with a colour-vision deficiency, and grey printers, still tell them apart.
Each role has a partner for dark pages.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from typing import Any

import matplotlib as mpl
from cycler import cycler

#: Role -> (colour on a light page, colour on a dark page).
ROLES: dict[str, tuple[str, str]] = {
    "ink": ("#1b2430", "#e6eaf0"),
    "soft": ("#5b6673", "#a3adb9"),
    "rule": ("#d9dee5", "#3a4350"),
    "paper": ("#fffffe", "#171c24"),
    "ghost": ("#98a2ad", "#717c88"),
    "blue": ("#1f4fa8", "#5f8ff0"),
    "orange": ("#c96d00", "#ffb454"),
    "teal": ("#2a9d86", "#7be3cc"),
    "plum": ("#6b1a4b", "#c24f92"),
    "sky": ("#6fb1de", "#b6dcf7"),
    "olive": ("#6b5f10", "#c9b95a"),
}
#: Colours of series, in the order in which they are taken.
SERIES = ("blue", "orange", "teal", "plum", "sky", "olive")
#: Colour map of values on a map of positions (part of Matplotlib, even in lightness).
COLOUR_MAP = "cividis"

#: Full width of a figure in inches: the text width of an A4 page.
WIDTH = 6.7

_LOCK = threading.RLock()


def colour(role: str) -> str:
    """Colour of a role on a light page."""
    return ROLES[role][0]


def series_colour(i: int) -> str:
    """Colour of the series number ``i``, from 0."""
    return colour(SERIES[i % len(SERIES)])


def _settings() -> dict[str, Any]:
    defaults: dict[str, Any] = {
        k: v for k, v in mpl.rcParamsDefault.items() if not k.startswith("backend")
    }
    own = {
        "font.family": ["DejaVu Sans"],
        "font.size": 8.0,
        "mathtext.fontset": "dejavusans",
        "axes.titlesize": 8.5,
        "axes.titleweight": "bold",
        "axes.titlelocation": "left",
        "axes.labelsize": 8.0,
        "axes.edgecolor": colour("soft"),
        "axes.labelcolor": colour("ink"),
        "axes.titlecolor": colour("ink"),
        "axes.facecolor": colour("paper"),
        "axes.linewidth": 0.7,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "axes.axisbelow": True,
        "axes.prop_cycle": cycler(color=[colour(s) for s in SERIES]),
        "axes.formatter.limits": (-4, 5),
        "grid.color": colour("rule"),
        "grid.linewidth": 0.6,
        "xtick.color": colour("soft"),
        "ytick.color": colour("soft"),
        "xtick.labelcolor": colour("ink"),
        "ytick.labelcolor": colour("ink"),
        "xtick.labelsize": 7.5,
        "ytick.labelsize": 7.5,
        "text.color": colour("ink"),
        "legend.frameon": False,
        "legend.fontsize": 7.5,
        "lines.linewidth": 1.1,
        "lines.solid_capstyle": "round",
        "patch.linewidth": 0.6,
        "figure.facecolor": colour("paper"),
        "figure.dpi": 100.0,
        "savefig.facecolor": colour("paper"),
        "svg.fonttype": "path",
        "svg.hashsalt": "drypoint",
        "path.simplify": True,
    }
    return {**defaults, **own}


@contextlib.contextmanager
def drawing() -> Iterator[None]:
    """Settings in force while a figure is made or written; one thread at a time.

    Matplotlib's settings are global. They are put back afterwards, whatever the user's are.
    """
    with _LOCK, mpl.rc_context():
        raw: Any = mpl.rcParams  # past its own checks of each value
        dict.update(raw, _settings())
        yield
