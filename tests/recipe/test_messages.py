"""Each fault of a study file gets one clear message: line, key, what is given, what is allowed."""

from __future__ import annotations

import pickle
import tomllib
from pathlib import Path
from typing import Any

import pytest

from drypoint.errors import RecipeError
from drypoint.recipe import StudyError, load_study, read_study

FAULTS = tomllib.loads(Path(__file__).with_name("faults.toml").read_text(encoding="utf-8"))["fault"]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f["key"])
def test_fault(study_text: str, fault: dict[str, Any]) -> None:
    """Line, key and words of each fault of the table."""
    assert fault["old"] in study_text
    with pytest.raises(StudyError) as caught:
        read_study(study_text.replace(fault["old"], fault["new"], 1), "study.toml")
    places = {(where.key, where.line) for where, _, _ in caught.value.problems}
    assert (fault["key"], fault.get("line")) in places
    assert fault["words"] in str(caught.value)
    assert str(caught.value).startswith("study.toml")


def test_all_faults_at_once(study_text: str) -> None:
    """Faults of schema, names and sense stand in one message, in the order of their lines."""
    text = (
        study_text.replace('"Small"', '"Small"\nlab = 1')
        .replace('"glass"', '"glas"')
        .replace("0.2", "0.7")
        .replace("Berkovich", "cone")
    )
    with pytest.raises(StudyError) as caught:
        read_study(text, "study.toml")
    keys = [where.key for where, _, _ in caught.value.problems]
    assert keys == [
        "study.lab",
        "records[1].specimen",
        "specimens.glass.nu",
        "tips.B1.half_angle_deg",
    ]
    assert "4 things are wrong" in str(caught.value)
    assert "line 5; key study.lab" in str(caught.value)
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value)


def test_syntax_error_has_line_and_column(tmp_path: Path) -> None:
    """A fault of TOML itself."""
    path = tmp_path / "study.toml"
    path.write_text("drypoint = 1\n[study]\nname = Small\n", encoding="utf-8")
    with pytest.raises(RecipeError) as caught:
        load_study(path)
    assert (caught.value.where.line, caught.value.where.column) == (3, 8)
    assert "not valid TOML" in str(caught.value)


def test_key_given_twice(tmp_path: Path) -> None:
    """TOML does not allow a key twice."""
    path = tmp_path / "study.toml"
    path.write_text("drypoint = 1\ndrypoint = 1\n", encoding="utf-8")
    with pytest.raises(RecipeError) as caught:
        load_study(path)
    assert caught.value.where.line == 2


def test_no_file_and_wrong_encoding(tmp_path: Path) -> None:
    """A missing file, and one that is not UTF-8."""
    with pytest.raises(RecipeError, match="no such file"):
        load_study(tmp_path / "none.toml")
    path = tmp_path / "study.toml"
    path.write_bytes("drypoint = 1\n# Prüfung\n".encode("latin-1"))
    with pytest.raises(RecipeError, match="not UTF-8") as caught:
        load_study(path)
    assert caught.value.where.line == 2


def test_mark_and_windows_line_ends(tmp_path: Path, study_text: str) -> None:
    """As an editor on Windows may save it."""
    path = tmp_path / "study.toml"
    path.write_bytes(b"\xef\xbb\xbf" + study_text.replace("\n", "\r\n").encode())
    assert load_study(path).recipe_hash == read_study(study_text, path).recipe_hash


def test_faults_in_an_area_file_name_that_file(tmp_path: Path, study_text: str) -> None:
    """The area function in a file of its own: its own name and lines."""
    path = tmp_path / "study.toml"
    area = tmp_path / "tips" / "b1.toml"
    area.parent.mkdir()
    path.write_text(study_text + 'area = { file = "tips/b1.toml" }\n', encoding="utf-8")
    area.write_text('kind = "series"\ncoefficient_nm = [24.5]\n', encoding="utf-8")
    with pytest.raises(StudyError, match="Did you mean “coefficients_nm”") as caught:
        load_study(path)
    assert caught.value.where.file == str(area)
    assert caught.value.where.line == 2
    area.write_text(
        'kind = "series"\ncoefficients_nm = [24.5]\nh_min_nm = 1\nh_max_nm = 900\n',
        encoding="utf-8",
    )
    first = load_study(path)
    assert first.bench().tip.area.h_max == 900e-9
    area.write_text(area.read_text().replace("900", "800"), encoding="utf-8")
    assert load_study(path).recipe_hash != first.recipe_hash
