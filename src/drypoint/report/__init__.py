"""The reports of a study and of a calibration: HTML that works offline, PDF, figures as files."""

from drypoint.report.calibration import (
    gather_calibration,
    write_calibration_html,
    write_calibration_pdf,
)
from drypoint.report.content import gather
from drypoint.report.files import write_figures, write_report
from drypoint.report.html import render_html, write_html
from drypoint.report.pdf import render_pdf, write_pdf
from drypoint.report.signing import sign_study
from drypoint.report.stress import stress_pictures

__all__ = [
    "gather",
    "gather_calibration",
    "render_html",
    "render_pdf",
    "sign_study",
    "stress_pictures",
    "write_calibration_html",
    "write_calibration_pdf",
    "write_figures",
    "write_html",
    "write_pdf",
    "write_report",
]
