"""Two studies in one folder: neither writes over what the other has written."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from drypoint.errors import StoreError
from drypoint.report import write_report
from drypoint.run import run_study
from drypoint.store import read_results


@pytest.fixture
def second(own_demo: Path) -> Path:
    """A copy of the study file beside the first, as one makes it to try other choices."""
    return Path(shutil.copy(own_demo, own_demo.with_name("second.toml")))


def test_results_of_another_study_stay(own_demo: Path, second: Path) -> None:
    before = read_results(own_demo.parent / "results").manifest
    with pytest.raises(StoreError, match=r"of another study, study\.toml") as refused:
        run_study(second)
    assert 'folder = "..." under [output]' in str(refused.value)
    assert read_results(own_demo.parent / "results").manifest == before
    text = second.read_text(encoding="utf-8")
    second.write_text(text + '\n[output]\nfolder = "results-2"\n', encoding="utf-8")
    run_study(second)
    run_study(own_demo)
    assert read_results(own_demo.parent / "results").manifest == before
    named = read_results(own_demo.parent / "results-2").manifest.origin.more
    assert named["study"] == "second.toml"


def test_a_renamed_study_goes_on(own_demo: Path) -> None:
    other = own_demo.rename(own_demo.with_name("renamed.toml"))
    run_study(other)
    named = read_results(own_demo.parent / "results").manifest.origin.more
    assert named["study"] == "renamed.toml"


def test_a_report_of_another_study_stays(own_demo: Path, second: Path) -> None:
    page = write_report(run_study(own_demo, write=False), pdf=False, figures=False) / "report.html"
    before = page.read_bytes()
    other = run_study(second, write=False)
    with pytest.raises(StoreError, match=r"report_folder = "):
        write_report(other, pdf=False, figures=False)
    assert page.read_bytes() == before
    write_report(other, second.with_name("elsewhere"), pdf=False, figures=False)
    write_report(run_study(own_demo, write=False), pdf=False, figures=False)
    assert page.read_bytes() == before
