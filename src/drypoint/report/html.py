"""The report as one HTML file that works offline."""

from __future__ import annotations

from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from drypoint.figures.picture import Picture, css_variables, inline
from drypoint.report.content import gather
from drypoint.report.drawn import svg_of
from drypoint.report.folder import folder_of
from drypoint.report.letters import visible_content
from drypoint.report.model import Content
from drypoint.report.symbols import breakable, parts
from drypoint.run.result import StudyResult
from drypoint.run.signing import Standing
from drypoint.store.atomic import atomic_write


def symbols(text: str) -> Markup:
    """Escaped text with symbols set as such."""
    pieces = []
    for body, index in parts(text):
        if index:
            pieces.append(Markup("<i>{}</i><sub>{}</sub>").format(body, index))
        else:
            pieces.append(escape(body))
    return Markup("").join(pieces)


def breakable_code(text: str) -> Markup:
    """Escaped text that may break at its dots and underscores."""
    return Markup("<wbr>").join(breakable(text))


def render_html(content: Content) -> str:
    """A report's content as HTML. No script, no request to anywhere; light, dark and print."""
    content = visible_content(content)
    env = Environment(
        loader=PackageLoader("drypoint.report", "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    env.filters["symbols"] = symbols
    env.filters["breakable"] = breakable_code
    number = {id(p): i for i, p in enumerate(content.pictures, start=1)}

    def svg(picture: Picture) -> Markup:
        return Markup(_with_words(picture, f"f{number[id(picture)]}"))

    light, dark = css_variables()
    return env.get_template("report.html").render(
        c=content,
        svg=svg,
        figure_number=lambda picture: number[id(picture)],
        fig_light=Markup(light),
        fig_dark=Markup(dark),
    )


def _with_words(picture: Picture, prefix: str) -> str:
    """A figure's SVG with its text alternative in place."""
    text = inline(svg_of(picture), prefix)
    label = escape(picture.alt)
    return text.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)


def write_html(
    result: StudyResult,
    path: Path | str,
    *,
    issued: str = "",
    standing: Standing | None = None,
) -> Path:
    """Write the report of a study as one HTML file; the earlier file stays until it is whole.

    Parameters
    ----------
    result : StudyResult
    path : Path or str
        Its folder is made where it is missing.
    issued : str
        Date of issue as it is to be printed.
    standing : Standing, optional
        Version and signatures; read from beside the study file where left out.

    Raises
    ------
    ReportError
        When the report cannot be made.
    StoreError
        When the file cannot be written.
    """
    target = folder_of(path)
    atomic_write(target, html_bytes(result, standing, issued=issued))
    return target


def html_bytes(result: StudyResult, standing: Standing | None = None, *, issued: str = "") -> bytes:
    """The same page as bytes; nothing is written."""
    return render_html(gather(result, issued=issued, standing=standing)).encode("utf-8")
