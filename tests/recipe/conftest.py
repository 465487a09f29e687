"""A small study that is right, and a helper that makes it wrong in one place."""

from __future__ import annotations

from pathlib import Path

import pytest

STUDY = """\
drypoint = 1

[study]
name = "Small"

[[records]]
files = ["raw/*.txt"]
specimen = "glass"

[specimens.glass]
nu = 0.2
u_nu = 0.01

[tips.B1]
shape = "Berkovich"
"""


@pytest.fixture
def study_text() -> str:
    """The text of a small study."""
    return STUDY


@pytest.fixture
def versions() -> Path:
    """Folder with a sample of each version of the study file."""
    return Path(__file__).with_name("versions")
