"""Fonts of figures and PDF: those that come with the libraries, and others for letters they lack.

Others are looked for in the folder ``fonts`` of the user's own folder, then among those of the
system.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

import matplotlib
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import FixedFormatter, FuncFormatter

from drypoint.records.saved import home
from drypoint.visible import code_point, visible

#: Signs without a shape of their own: blanks, joiners, variation selectors.
_SHAPELESS = {0x09, 0x0A, 0x0D, 0x200B, 0x200C, 0x200D, 0x2060, 0x00AD, *range(0xFE00, 0xFE10)}
_FONTS = (".ttf", ".otf", ".ttc")
_PLAIN = "DejaVuSans.ttf"
#: Formatters that give words, not numbers.
_WORDS = (FixedFormatter, FuncFormatter)


def own_folder() -> Path:
    """Folder of the fonts that come with Matplotlib."""
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def own_fonts() -> tuple[Path, ...]:
    """Font files that come with the program's libraries: all that a Latin or Greek text needs."""
    folder = own_folder()
    return tuple(sorted([*folder.glob("DejaVu*.ttf"), *folder.glob("STIXGeneral*.ttf")]))


@lru_cache(maxsize=16)
def _fallback(lacking: frozenset[str], candidates: tuple[Path, ...]) -> tuple[Path, ...]:
    wanted = {ord(c) for c in lacking}
    chosen = []
    for path in candidates:
        if not wanted:
            break
        if has := wanted & _characters(path):
            chosen.append(path)
            wanted -= has
    return tuple(chosen)


def fallback(lacking: Iterable[str]) -> tuple[Path, ...]:
    """Fonts on this computer that have characters which the program's own fonts lack."""
    return _fallback(frozenset(lacking), _candidates())


def _candidates() -> tuple[Path, ...]:
    from matplotlib.font_manager import findSystemFonts

    folder = home() / "fonts"
    own = sorted(p for p in folder.glob("*") if p.suffix.lower() in _FONTS)
    system = (Path(p) for p in findSystemFonts())
    return (*own, *sorted(p for p in system if p.suffix.lower() in _FONTS))


def covered(fonts: Iterable[Path]) -> set[int]:
    """Code points that fonts have shapes for."""
    return set().union(*map(_characters, fonts))


@lru_cache(maxsize=1024)
def _characters(path: Path) -> frozenset[int]:
    """Code points that a font has shapes for; none where it cannot be read."""
    from fontTools.ttLib import TTCollection, TTFont

    found: set[int] = set()
    try:
        if path.suffix.lower() == ".ttc":
            for font in TTCollection(path, lazy=True).fonts:
                found |= set(font.getBestCmap() or ())
        else:
            with TTFont(path, lazy=True) as font:
                # A font of last resort has a box for everything.
                if "LastResort" not in str(font["name"].getDebugName(6)):
                    found = set(font.getBestCmap() or ())
    except Exception:  # whatever a damaged font brings
        return frozenset()
    return frozenset(found)


def has_shape(c: str) -> bool:
    """Whether a character needs a shape in a font."""
    return ord(c) not in _SHAPELESS and not c.isspace()


def show_texts(figure: Figure) -> None:
    """Make the texts of a figure such that they can be drawn: hidden characters shown, letters that
    its font lacks in another font that is there, else as code points."""
    axes = [axis for a in figure.axes for axis in (a.xaxis, a.yaxis)]
    named = [axis for axis in axes if isinstance(axis.get_major_formatter(), _WORDS)]
    artists = [t for t in figure.findobj(Text) if isinstance(t, Text)]
    texts = [t.get_text() for t in artists]
    for axis in named:
        texts += axis.get_major_formatter().format_ticks(list(axis.get_majorticklocs()))
    if all(t.isascii() and (t.isprintable() or "\n" in t) for t in texts):
        return
    plain = _characters(own_fonts()[0].with_name(_PLAIN))
    letters = {c for t in texts for c in visible(t) if has_shape(c) and ord(c) not in plain}
    fonts = fallback(letters) if letters else ()
    unset = {c for c in letters if ord(c) not in covered(fonts)}
    table = str.maketrans({c: code_point(c) for c in unset})
    families = [*matplotlib.rcParams["font.family"], *map(_family, fonts)]
    for axis in named:
        _show_ticks(axis, table)
        if fonts:
            axis.set_tick_params(labelfontfamily=families)
    for t in artists:
        t.set_text(visible(t.get_text()).translate(table))
        if fonts:
            t.set_fontfamily(families)


def _show_ticks(axis: Axis, table: dict[int, str]) -> None:
    """Names on an axis, in the same way."""
    words = axis.get_major_formatter()

    def shown(value: float, at: int | None = None) -> str:
        return visible(words(value, at)).translate(table)

    axis.set_major_formatter(FuncFormatter(shown))


def _family(path: Path) -> str:
    """Name of a font file under which figures find it."""
    from matplotlib.font_manager import fontManager

    known = [f for f in fontManager.ttflist if f.fname == str(path)]
    if not known:
        fontManager.addfont(path)
        known = [f for f in fontManager.ttflist if f.fname == str(path)]
    return known[-1].name
