"""The report of a study: one HTML file that works offline, a PDF, and the figures as files."""

from drypoint.report.content import gather
from drypoint.report.files import write_figures
from drypoint.report.html import render_html, write_html
from drypoint.report.pdf import render_pdf, write_pdf

__all__ = ["gather", "render_html", "render_pdf", "write_figures", "write_html", "write_pdf"]
