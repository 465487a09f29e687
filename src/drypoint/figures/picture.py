"""A figure with the words that stand in for it, written the same way every time."""

from __future__ import annotations

import io
import re
from typing import Any

from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from drypoint.figures.fonts import show_texts
from drypoint.figures.labels import as_words
from drypoint.figures.style import ROLES, WIDTH, colour, drawing
from drypoint.notices import origin

_METADATA: dict[str, Any] = {"Date": None, "Creator": None, "Format": None, "Type": None}
_PROLOG = re.compile(r"^.*?(?=<svg)", re.DOTALL)
_META = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)
_OPEN = re.compile(r"<svg[^>]*>")
_PATH = re.compile(r' (?:d|x|y)="[^"]*"')
_LONG = re.compile(r"(\d\.\d\d)\d+")
_SIZE = re.compile(r'(<svg[^>]*?) width="[^"]*"', re.DOTALL)
#: Room for a footer below the axes, inches.
_FOOTER = 0.14
_HEIGHT = re.compile(r'(<svg[^>]*?) height="[^"]*"', re.DOTALL)


class Picture(Figure):
    """A Matplotlib figure with a name, a caption, and a text alternative built from its numbers.

    Attributes
    ----------
    name : str
        Short name for files, for example ``"curves-glass"``.
    caption : str
        One sentence: what is shown.
    alt : str
        What a reader who cannot see the figure should know, with numbers.
    footer : str
        Small print below the axes: that the data are invented, or computed. Empty for measured
        data.

    Parameters
    ----------
    name : str
    height, width : float
        Size in inches, without the footer.
    invented, computed : bool
        Whether the data are invented, and whether they were computed and not measured.
    """

    def __init__(
        self,
        name: str,
        height: float,
        *,
        invented: bool,
        computed: bool = False,
        width: float = WIDTH,
    ) -> None:
        self.footer = origin(invented=invented, computed=computed)
        self._printed: Text | None = None
        with drawing():
            super().__init__(figsize=(width, height), layout="constrained")
            if self.footer:
                self._printed = self.text(0.995, 0.0, self.footer, ha="right", va="bottom",
                                          fontsize=6.5, color=colour("soft"),
                                          in_layout=False)  # fmt: skip
                self.set_height(height)
        self.name = name
        self.caption = ""
        self.alt = ""
        self._settled = False

    def set_height(self, height: float) -> None:
        """Height in inches, without the footer, which has room of its own below everything."""
        if self._printed is None:
            self.set_figheight(height)
            return
        share = _FOOTER / (height + _FOOTER)
        self.set_figheight(height + _FOOTER)
        engine = self.get_layout_engine()
        assert isinstance(engine, ConstrainedLayoutEngine)
        engine.set(rect=(0.0, share, 1.0, 1.0 - share))
        self._printed.set_y(0.2 * share)

    def settle(self) -> None:
        """Find the layout once; from then on nothing moves, however often the figure is drawn."""
        if not self._settled:
            engine = self.get_layout_engine()
            with drawing():
                show_texts(self)
                if engine is not None:
                    engine.execute(self)
                self.set_layout_engine("none")
                # The solver of the layout differs in the last bits from run to run, and names of
                # clip paths are hashes of positions.
                for axes in self.axes:
                    corners = axes.get_position(original=True).get_points()
                    axes.set_position(Bbox(corners.round(7)), which="original")
                    axes.set_in_layout(True)  # set_position takes them out
            self._settled = True

    def svg(self) -> str:
        """The figure as SVG; the same numbers give the same bytes."""
        self.settle()
        buffer = io.StringIO()
        canvas, dpi = self.canvas, self.dpi
        with drawing():
            try:
                # Not savefig: it would draw everything once more to find the layout.
                FigureCanvasSVG(self).print_svg(buffer, metadata=_METADATA)
            finally:
                self.set_canvas(canvas)
                self.dpi = dpi
        text = _META.sub("", buffer.getvalue())
        if self.footer:  # as text, too: in the picture its letters are drawn as curves
            text = _OPEN.sub(rf"\g<0>\n <desc>{self.footer}</desc>", text, count=1)
        return _PATH.sub(_shorter, text)

    def inline_svg(self, prefix: str) -> str:
        """SVG for the inside of a page: colours follow the page's theme.

        Colours become ``var(--fig-ROLE, ...)``, every id starts with ``prefix`` so that several
        figures live on one page, and the size is that of the place where it stands.
        """
        return inline(self.svg(), prefix)

    def png(self, dpi: float = 200.0) -> bytes:
        """The figure as PNG; the same numbers give the same bytes."""
        self.settle()
        buffer = io.BytesIO()
        words: dict[str, Any] = {"Description": self.footer} if self.footer else {}
        with drawing():
            self.savefig(buffer, format="png", dpi=dpi, metadata={"Software": None, **words})
        return buffer.getvalue()

    def _repr_svg_(self) -> str:
        """For notebooks."""
        return self.svg()


def inline(svg: str, prefix: str) -> str:
    """A figure's SVG made ready for the inside of a page; see :meth:`Picture.inline_svg`."""
    text = _PROLOG.sub("", svg, count=1)
    for role, (light, _) in ROLES.items():
        text = text.replace(light, f"var(--fig-{role}, {light})")
    text = re.sub(r'\bid="', f'id="{prefix}-', text)
    text = re.sub(r'href="#', f'href="#{prefix}-', text)
    text = text.replace("url(#", f"url(#{prefix}-")
    text = text.replace("xlink:href", "href")
    text = re.sub(r'\s+xmlns(:xlink)?="[^"]*"', "", text)
    return _HEIGHT.sub(r"\1", _SIZE.sub(r"\1", text, count=1), count=1).strip()


def _shorter(m: re.Match[str]) -> str:
    """The path of an SVG with its coordinates to a hundredth of a point."""
    return _LONG.sub(r"\1", m[0])


def css_variables() -> tuple[str, str]:
    """Colours of figures as CSS variables: for light pages and for dark ones."""
    light = " ".join(f"--fig-{role}: {pair[0]};" for role, pair in ROLES.items())
    dark = " ".join(f"--fig-{role}: {pair[1]};" for role, pair in ROLES.items())
    return light, dark


def nothing_to_show(picture: Picture, reason: str) -> Picture:
    """An empty figure that says why it is empty."""
    with drawing():
        axes = picture.add_subplot()
        axes.set_axis_off()
        axes.text(0.5, 0.5, as_words(reason), ha="center", va="center", color=colour("soft"))
    picture.caption = reason
    picture.alt = reason
    return picture
