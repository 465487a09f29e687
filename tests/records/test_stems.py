"""Proposed specimens: names of files alone, no file is opened. Names are invented here."""

from __future__ import annotations

import random
import tomllib
import unicodedata
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from invented_records import invented, plain_file

from drypoint.records import specimen_names, starting_recipe_records, understand


@pytest.mark.parametrize(
    ("paths", "names"),
    [
        (["glass_01.csv", "glass-02.csv", "Glass 3 (2).txt"], ["glass"] * 3),
        (["glass.csv"], ["glass"]),
        (["Glass 3 (2).txt"], ["Glass"]),
        (["glass_01.txt.gz", "glass_02 - Copy.csv", "glass no 3.csv", "glass#4.csv"],
         ["glass"] * 4),
        (["thin film 1.csv", "thin_film_2.csv", "Thin-Film-3.csv"], ["thin film"] * 3),
        (["STÄHLE-3.csv", "Sta\u0308hle_2.csv", "Stähle_1.csv"], ["Stähle"] * 3),
        (["玻璃1.csv", "玻璃２.csv", "氧化物1.csv"], ["玻璃", "玻璃", "氧化物"]),
        # A number at the beginning, dates and times.
        (["01_glass.csv", "02_oxide.csv"], ["glass", "oxide"]),
        (["2024-05-01_oxide_03.csv", "oxide_2024-05-02_04.csv", "oxide_5_2024-05-02_12-33.csv"],
         ["oxide"] * 3),
        # Only numbers: the folder's name, but for folders that say nothing.
        (["1.csv", "raw/002.csv", "2024-05-01.csv", "(3).csv", ""], ["specimen"] * 5),
        (["raw/glass/1.csv", "raw/oxide/1.csv"], ["glass", "oxide"]),
        (["raw/glass/test_1.csv", "raw/oxide/test_1.csv"], ["glass", "oxide"]),
        (["glass/day 1/1.csv", "oxide/day 1/1.csv"], ["glass day 1", "oxide day 1"]),
        (["glass/1/1.csv", "glass/2/1.csv"], ["glass 1", "glass 2"]),
        (["C:\\lab\\steel\\1.csv", "C:\\lab\\iron\\1.csv"], ["steel", "iron"]),
        # A letter and a number, alone in its folder; several of them are several specimens.
        (["raw/glass/G-01.txt", "raw/glass/G-02.txt", "raw/film/F-01.txt"],
         ["glass", "glass", "film"]),
        (["raw/G-01.txt", "raw/F-01.txt"], ["G", "F"]),
        # A folder of several materials, and one material in several folders.
        (["day/glass_1.csv", "day/oxide_1.csv"], ["glass", "oxide"]),
        (["before/glass_1.csv", "after/glass_1.csv"], ["before glass", "after glass"]),
        # Formulas: case counts, an index is no running number.
        (["TiN_1.csv", "tin_2.csv", "Tin 3.csv"], ["TiN", "tin", "tin"]),
        (["SiO2.csv", "SiO2_01.csv", "Al2O3.csv", "Si3N4-2.csv"],
         ["SiO2", "SiO2", "Al2O3", "Si3N4"]),
        (["WO2.csv", "WO3.csv"], ["WO2", "WO3"]),
        (["S1.csv", "S2.csv"], ["S", "S"]),
        (["SiC1.csv", "SiC2.csv", "SiC3.csv"], ["SiC"] * 3),
        # Numbers that do not count tests.
        (["film_100.csv", "film_200.csv", "film_50.csv"], ["film_100", "film_200", "film_50"]),
        (["alloy_304.csv", "alloy_316.csv"], ["alloy_304", "alloy_316"]),
        (["alloy_304_01.csv", "alloy_316_01.csv"], ["alloy_304", "alloy_316"]),
        (["glass_103.csv", "glass_104.csv", "glass_106.csv"], ["glass"] * 3),
        (["glass_0103.csv", "glass_0466.csv"], ["glass"] * 2),
        (["x0.5.csv", "x0.25.csv"], ["x0.5", "x0.25"]),
        (["sample.glass.csv", "sample.oxide.csv"], ["sample.glass", "sample.oxide"]),
        (["sample 1_01.csv", "sample 2_01.csv"], ["sample 1", "sample 2"]),
    ],
)  # fmt: skip
def test_names(paths: list[str], names: list[str]) -> None:
    assert specimen_names(paths) == names


WORDS = st.text("abcdefghijklmnopqrstuvwxyzäöüßéøåж", min_size=3, max_size=9).filter(
    lambda w: w not in ("copy", "copie", "kopie", "test", "record", "data", "curve", "run", "file",
                        "indent", "indentation", "measurement", "raw", "export")
)  # fmt: skip
GAPS = st.sampled_from(["", " ", "_", "-", ".", " - ", "__"])
ENDINGS = st.sampled_from(["", ".csv", ".TXT", ".xlsx", ".parquet", ".txt.gz"])
MARKS = st.sampled_from(["", " (2)", "(13)", "_(1)"])
CASES = st.sampled_from([str.lower, str.upper, str.capitalize])


@st.composite
def files_of(draw: st.DrawFn, word: str) -> list[str]:
    """Files of one specimen, numbered from 0 or 1 without a gap of more than one."""
    steps = draw(st.lists(st.integers(1, 2), min_size=1, max_size=12))
    width, at, out = draw(st.integers(1, 4)), draw(st.integers(0, 1)), []
    for step in steps:
        case = draw(CASES)
        # Case is not reversible in some letters (ß, SS): those stay as they are.
        spelled = case(word) if case(word).lower() == word else word
        out.append(f"{spelled}{draw(GAPS)}{at:0{width}d}{draw(MARKS)}{draw(ENDINGS)}")
        at += step
    return out


@given(st.data(), WORDS)
def test_numbered_files_are_one_specimen(data: st.DataObject, word: str) -> None:
    (name,) = set(specimen_names(data.draw(files_of(word))))
    assert name.lower() == unicodedata.normalize("NFC", word)


@given(st.data(), st.lists(WORDS, min_size=2, max_size=5, unique_by=str.casefold))
def test_different_stems_are_never_one_specimen(data: st.DataObject, words: list[str]) -> None:
    """Whatever the numbers, folders and spellings are: as many names as stems, and no order."""
    folder = data.draw(st.sampled_from(["", "raw/", "lab/day/", "../data/"]))
    files = [(folder + f, w) for w in words for f in data.draw(files_of(w))]
    names = specimen_names([f for f, _ in files])
    of: dict[str, set[str]] = {}
    for (_, word), name in zip(files, names, strict=True):
        of.setdefault(name, set()).add(word)
    assert all(len(w) == 1 for w in of.values()) and len(of) == len(words)
    order = list(range(len(files)))
    random.Random(3).shuffle(order)
    assert specimen_names([files[i][0] for i in order]) == [names[i] for i in order]


@given(st.lists(st.text(max_size=40), max_size=8))
def test_any_text_gives_a_printable_name(paths: list[str]) -> None:
    names = specimen_names(paths)
    assert len(names) == len(paths)
    for name in names:
        assert name and name.isprintable() and name == name.strip()
        assert unicodedata.normalize("NFC", name) == name


@given(st.lists(st.text("abAB19 ._-()/", max_size=14), min_size=1, max_size=8), st.data())
def test_letters_that_differ_stay_apart(paths: list[str], data: st.DataObject) -> None:
    """Also without a plan: two files of one folder and one name differ in no letter."""
    names = specimen_names(paths)
    i, j = data.draw(st.integers(0, len(paths) - 1)), data.draw(st.integers(0, len(paths) - 1))

    def letters(path: str) -> str:
        return "".join(c for c in Path(path).name if c.isalpha()).casefold()

    assume(Path(paths[i]).parent == Path(paths[j]).parent and "." not in paths[i] + paths[j])
    if names[i] == names[j] and letters(paths[i]) and letters(paths[j]):
        assert letters(paths[i]) == letters(paths[j])


def test_one_layout_of_three_materials_is_three_tables(tmp_path: Path) -> None:
    """With the pattern of one never taking a file of another, wherever the program runs."""
    files = []
    for k in (1, 2, 3):
        for stem in ("glass", "glass plate", "oxide"):
            files.append(plain_file(tmp_path / f"{stem} {k}.csv", invented(60, seed=k)))
    plain_file(tmp_path / "oxide broken.csv", invented(60, seed=9))
    looks = [understand(p, root=tmp_path) for p in files]
    text = starting_recipe_records(looks, tmp_path)
    tables = {t["specimen"]: t["files"] for t in tomllib.loads(text)["records"]}
    assert list(tables) == ["glass", "glass plate", "oxide"]
    for specimen, patterns in tables.items():
        taken = {p.name for pattern in patterns for p in tmp_path.glob(pattern)}
        assert taken == {f"{specimen} {k}.csv" for k in (1, 2, 3)}, specimen
