"""Study, records, specimens, measured areas and output as a study file states them."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from drypoint.recipe.base import (
    Count,
    NonNegative,
    NonZero,
    Poisson,
    Positive,
    Section,
    Seed,
    Words,
    key,
    knob,
)
from drypoint.recipe.context import (
    BENCH_LEFT_OPEN,
    RATIO_LEFT_OPEN,
    bench_remedy,
    bench_what,
    listed,
    several,
)
from drypoint.recipe.knobs import Analysis, Corrections, Dynamic, Flags, Segments
from drypoint.recipe.layers import FilmAnalysisKeys, FilmLayerKeys, FilmSubstrateKeys
from drypoint.recipe.rules import Has, Needed, OneOf, Only
from drypoint.records.layout import Column, Layout

_BESIDE = "A bench is a tip and a frame: leave tip and frame out."
_SEVERAL = "the key is missing, and there is more than one."


class About(Section):
    """What the study is."""

    name: Words = key("Name of the study.")
    question: str = key("The question that the study answers.", "")
    laboratory: str = key("Laboratory.", "")
    operator: str = key("Who made the tests.", "")
    customer: str = key("For whom.", "")
    report_number: str = key("Number of the report.", "")
    standard: str = key("The practice that is followed, for example “ISO 14577-1 practice”.", "")
    remarks: str = key("Anything else that the report should say.", "")
    invented: bool = key(
        "True where the data are invented: every page, figure and table then says so.", False
    )
    seed: Seed = key("Seed of everything that is drawn at random.", 1)


class ColumnKeys(Section):
    """A column of a raw file."""

    younger: ClassVar = ("attributes",)

    name: Words | None = knob(Column, "name", "Name of the column as in the file.")
    index: Count | None = knob(Column, "index", "Number of the column, from 1.")
    unit: str | None = knob(Column, "unit", "Unit of the numbers; as the file says where left out.")
    scale: NonZero = knob(Column, "scale", "Multiplies the numbers of the column.")
    attributes: Literal["apply", "ignore"] | None = knob(
        Column,
        "attributes",
        "Attributes of an HDF5 dataset that may scale its numbers, such as “multiplier”: apply "
        "(number times factor plus offset) or ignore. Needed where the file names no convention.",
        source="cf2023",
    )

    key_rules: ClassVar = (
        OneOf(
            ("name", "index"),
            "Give the column's name as in the file, or its index from 1.",
            needed=True,
            whole=("name or index is missing.", "name and index are both given."),
        ),
    )


class Records(Section):
    """Raw files that are read in one way and belong to one specimen."""

    files: Annotated[tuple[Words, ...], Field(min_length=1)] = key(
        "Files, folders, or patterns such as “raw/*.txt”, relative to the study file: text, "
        "workbooks, Parquet, HDF5, and zip files of these."
    )
    specimen: Words = key("Name of the specimen, one of [specimens].")
    tip: Words | None = key("Name of the tip, one of [tips].", None)
    frame: Words | None = key("Name of the frame, one of [frames].", None)
    bench: Words | None = key(
        "Name of a calibrated bench, one of [benches], in place of tip and frame.", None
    )
    delimiter: Literal[",", ";", "\t", " ", "|"] | None = knob(
        Layout, "delimiter", "What separates the columns; “ ” stands for any run of blanks."
    )
    decimal: Literal[".", ","] | None = knob(Layout, "decimal", "Decimal mark.")
    encoding: Words | None = knob(Layout, "encoding", "Encoding of the text.")
    header_line: Count | None = knob(
        Layout, "header_line", "Line with the names of the columns, from 1."
    )
    first_data_line: Count | None = knob(
        Layout, "first_data_line", "First line with numbers, from 1."
    )
    split: Literal["one", "blank lines", "column"] | None = knob(
        Layout,
        "split",
        "One test a file, tests between blank lines, or tests told apart by a column.",
    )
    sampling_Hz: Positive | None = knob(
        Layout, "sampling_Hz", "Sampling rate, for files without a time.", unit="Hz"
    )
    comment: Words | None = knob(Layout, "comment", "Lines that begin with this are left out.")
    inside: tuple[Words, ...] = knob(
        Layout,
        "inside",
        "Patterns of what is read inside a file: sheets of a workbook, members of a zip file, "
        "groups (or tables) of an HDF5 file that are a test each, such as “/tests/*”; all where "
        "left out. “!” parts the pattern of a member from that of what is in it.",
    )
    columns: dict[str, ColumnKeys] = knob(
        Layout,
        "columns",
        "What each column is: a role, with the column's name or index, unit and scale.",
        shown=lambda _: {},
    )
    date: str | None = key("Date of the tests; replaces what the files say.", None)
    operator: str | None = key("Who made these tests; replaces what the files say.", None)
    temperature_C: Annotated[float, Field(gt=-273.15)] | None = key(
        "Temperature of these tests; replaces what the files say.", None, unit="°C"
    )
    humidity_percent: Annotated[float, Field(ge=0, le=100)] | None = key(
        "Relative humidity during these tests; replaces what the files say.", None, unit="%"
    )

    key_rules: ClassVar = (
        Needed(("tip",), several("tips", "tip"), listed("tips"), _SEVERAL),
        Needed(("frame",), several("frames", "frame"), listed("frames"), _SEVERAL),
        Needed(("bench",), BENCH_LEFT_OPEN, bench_remedy, bench_what),
        OneOf(("tip", "bench"), _BESIDE),
        OneOf(("frame", "bench"), _BESIDE),
    )


class Specimen(Section):
    """What was tested. Any choice of the reduction may be set for this specimen alone."""

    description: str = key("Description of the specimen.", "")
    nu: Poisson | None = key("Poisson's ratio.", None)
    u_nu: NonNegative | None = key("Its standard uncertainty.", None)
    nu_of: Words | None = key(
        "Name of another specimen whose Poisson's ratio is this one's too (the same material after "
        "another treatment): one input for both, which cancels in a comparison.",
        None,
    )
    reference: Words | None = key("Name of a packaged reference material.", None)
    thickness_nm: Positive | None = key("Thickness of a film.", None, unit="nm")
    u_thickness_nm: NonNegative | None = key("Its standard uncertainty.", None, unit="nm")
    layers: Annotated[tuple[FilmLayerKeys, ...], Field(max_length=20)] = key(
        "Layers of a coated specimen, the uppermost first; with them the film's own modulus and "
        "hardness are found from all its tests.",
        (),
    )
    substrate: FilmSubstrateKeys | None = key("What carries the layers.", None)
    film_analysis: FilmAnalysisKeys = key("How film values are found.", FilmAnalysisKeys)
    roughness_Ra_nm: NonNegative | None = key("Roughness Ra.", None, unit="nm")
    bulk_thickness_um: Positive | None = key(
        "Thickness of the whole specimen, where it may matter.", None, unit="µm"
    )
    material_class: Literal["ceramic", "iron alloy", "other"] | None = key(
        "Class of the material; the spacing of impressions that is asked for depends on it.", None
    )
    edges_um: tuple[tuple[float, float, float, float], ...] = key(
        "Edges and interfaces as straight lines [x1, y1, x2, y2], in the coordinates of the "
        "positions.",
        (),
        unit="µm",
    )
    E_expected_GPa: Positive | None = key("Modulus that is expected.", None, unit="GPa")
    preparation: str = key("How the surface was prepared.", "")
    mounting: str = key("How the specimen was mounted.", "")
    segments: Segments | None = key("Choices for this specimen alone.", None)
    corrections: Corrections | None = key("Choices for this specimen alone.", None)
    analysis: Analysis | None = key("Choices for this specimen alone.", None)
    flags: Flags | None = key("Choices for this specimen alone.", None)
    dynamic: Dynamic | None = key("Choices for this specimen alone.", None)

    key_rules: ClassVar = (
        Needed(
            ("nu",),
            RATIO_LEFT_OPEN,
            "The modulus needs Poisson's ratio: give nu and u_nu, or name a packaged "
            "reference material.",
        ),
        Only(("u_nu",), Has("nu"), "Give nu too.", "an uncertainty without nu is given."),
        Only(
            ("u_thickness_nm",),
            Has("thickness_nm"),
            "Give thickness_nm too.",
            "an uncertainty without a thickness is given.",
        ),
        Needed(
            ("substrate",),
            Has("layers"),
            "Say what carries the layers; for a base that is all but rigid give a large E_GPa.",
            "the table is missing.",
        ),
        Only(
            ("substrate", "film_analysis"),
            Has("layers"),
            "Describe the layers, or leave it out.",
            "there is no layer.",
        ),
        *(
            OneOf((k, "nu_of"), "Leave one of the two ways out.")
            for k in ("nu", "u_nu", "reference")
        ),
    )


class TestsTable(Section):
    """A table with a row a test, joined to the records by the names of the tests."""

    __test__ = False  # not a pytest class

    file: Words = key(
        "Delimited text or a workbook, relative to the study file. Its first row names the "
        "columns: test (as in results/tests.csv), and any of specimen (one of [specimens]), x "
        "and y with a unit (x_um, y_um), site, date, and others that are kept as words."
    )


class MeasuredArea(Section):
    """An area measured on the impression; used instead of the area function."""

    test: Words = key("Name of the test.")
    cycle: Count | None = key(
        "Number of the cycle, from 1; the one with the largest force where left out.", None
    )
    A_um2: Positive = key("Projected area of the impression.", unit="µm²")
    u_A_um2: Positive = key("Its standard uncertainty.", unit="µm²")
    how: Words = key("How it was measured.")


class Output(Section):
    """What is written, and where."""

    younger: ClassVar = ("csv_text",)
    folder: Words = key("Folder of the results, relative to the study file.", "results")
    report_folder: Words = key("Folder of the report, relative to the study file.", "report")
    level_of_confidence: Annotated[float, Field(gt=0.5, lt=1)] = key(
        "Level of confidence of the expanded uncertainties; the coverage factor follows from it "
        "and the effective degrees of freedom.",
        0.95,
        source="GUM",
    )
    xlsx: bool = key("Write the tables as workbooks (.xlsx) too.", False)
    csv_decimal: Literal[".", ","] = key(
        "Decimal mark of the CSV tables; with “,” the fields are separated by “;”.", "."
    )
    csv_text: Literal["safe", "verbatim"] = key(
        "Text cells of the CSV tables that a spreadsheet program would take for a formula (they "
        "begin with =, +, -, @, a tab or a line break): safe puts an apostrophe in front, verbatim "
        "leaves them as they are. Numbers are never changed.",
        "safe",
    )
