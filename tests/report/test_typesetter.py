"""When the typesetter fails: a plain error, no file half-written, no signature lost.

A panic of the typesetter, a library in another language, is a ``BaseException`` that is not an
``Exception``. It cannot be caused by text on purpose, so one is put in its place here.
"""

from __future__ import annotations

import hashlib
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from drypoint.errors import ReportError
from drypoint.recipe import load_study
from drypoint.report import gather, render_pdf, sign_study, write_report
from drypoint.report import pdf as setting
from drypoint.run import StudyResult, run_study


class PanicException(BaseException):
    """What a panic looks like."""


def panic(*_: object, **__: object) -> bytes:
    """A typesetter that gives up."""
    raise PanicException("index out of bounds: the len is 1 but the \u202eindex is 7")


def state(folder: Path) -> dict[str, str]:
    """Every file of a folder with its hash."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and "cache" not in p.parts and ".cache" not in p.parts
    }


def test_a_panic_is_an_error_of_the_family(
    result: StudyResult, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(setting.typst, "compile", panic)
    with pytest.raises(ReportError) as caught:
        render_pdf(gather(result))
    assert "cannot be set" in str(caught.value) and "--no-pdf" in caught.value.remedy
    assert "\u202e" not in str(caught.value) and "index out of bounds" in str(caught.value)


@pytest.mark.parametrize("kind", [KeyboardInterrupt, SystemExit])
def test_a_stop_by_the_user_stays_one(
    result: StudyResult, monkeypatch: pytest.MonkeyPatch, kind: type[BaseException]
) -> None:
    def stop(*_: object, **__: object) -> bytes:
        raise kind

    monkeypatch.setattr(setting.typst, "compile", stop)
    with pytest.raises(kind):
        render_pdf(gather(result))


def test_nothing_is_half_written(
    result: StudyResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_report(result, tmp_path / "report", figures=False)
    before = state(tmp_path)
    other = replace(
        result, study=replace(result.study, text=result.study.text + "\n# another state\n")
    )
    monkeypatch.setattr(setting.typst, "compile", panic)
    with pytest.raises(ReportError):
        write_report(other, tmp_path / "report", figures=False)
    assert state(tmp_path) == before  # page and PDF are still those of one report


def test_signing_writes_nothing_and_works_afterwards(
    result: StudyResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(result.study.folder, tmp_path / "study")
    study = load_study(tmp_path / "study" / result.study.path.name)
    run_study(study)
    before = state(tmp_path)

    def refused(who: str) -> None:
        with monkeypatch.context() as patched:
            patched.setattr(setting.typst, "compile", panic)
            with pytest.raises(ReportError):
                sign_study(study, who=who, why="looked at")

    refused("A. Example (invented)")
    assert state(tmp_path) == before
    made = sign_study(study, who="A. Example (invented)", why="looked at")
    assert made.number == 1
    signed = state(tmp_path)
    refused("B. Example (invented)")
    assert state(tmp_path) == signed  # the first signature is there, whole
