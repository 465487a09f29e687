"""Raw records: from text, workbooks, Parquet, HDF5 and zip files to a :class:`Batch` in SI.

>>> from drypoint.records import read  # doctest: +SKIP
>>> outcome = read(["raw/glass_01.txt"], specimen="glass")  # doctest: +SKIP

A file is read as it is or set aside with the reason; what could mean two things is asked.
"""

from drypoint.records.batch import UNDECLARED, Batch, Source, TestInfo, join
from drypoint.records.check import Limits, check
from drypoint.records.chunks import read_in_chunks
from drypoint.records.columns import ColumnFound
from drypoint.records.layout import ROLE_DIMENSION, ROLES, Column, Layout, SetAside
from drypoint.records.question import Question
from drypoint.records.read import ReadOutcome, read
from drypoint.records.starting import starting_recipe_records
from drypoint.records.stems import specimen_names
from drypoint.records.understand import understand, understand_all
from drypoint.records.understanding import TestFound, Understanding

__all__ = [
    "ROLES",
    "ROLE_DIMENSION",
    "UNDECLARED",
    "Batch",
    "Column",
    "ColumnFound",
    "Layout",
    "Limits",
    "Question",
    "ReadOutcome",
    "SetAside",
    "Source",
    "TestFound",
    "TestInfo",
    "Understanding",
    "check",
    "join",
    "read",
    "read_in_chunks",
    "specimen_names",
    "starting_recipe_records",
    "understand",
    "understand_all",
]
