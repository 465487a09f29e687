"""Film, not substrate: modulus and hardness of coatings from tests at many depths. Pure functions.

``given``: layers and tests. ``modulus``: inference of what is sought. ``compare``: all models, and
the spread between them (``extrapolate``: the straight line to zero). ``sample``: by Monte Carlo.
``hardness``: plateau and models. ``pileup``: pile-up and sink-in, signs and size. ``results``: from
a reduction. ``forward`` and ``least`` serve these.
"""

from drypoint.films.compare import Comparison, compare
from drypoint.films.curves import FilmCurves, film_curves
from drypoint.films.extrapolate import Extrapolated, extrapolate
from drypoint.films.given import (
    Entry,
    FilmLayer,
    FilmTests,
    Structure,
    Substrate,
    known,
    one_film,
    sought,
    tests_from_stiffness,
)
from drypoint.films.grouped import by_group
from drypoint.films.hardness import (
    FilmHardness,
    HardnessTests,
    Plateau,
    film_hardness,
    plateau,
    stress_remark,
)
from drypoint.films.modulus import FilmResult, infer
from drypoint.films.pileup import (
    AreaSize,
    area_size,
    count_areas,
    count_areas_hardness,
    pile_up_remarks,
    size_words,
    with_areas,
)
from drypoint.films.problems import FilmError
from drypoint.films.results import film_tests, hardness_tests
from drypoint.films.sample import Samples, sample

__all__ = [
    "AreaSize",
    "Comparison",
    "Entry",
    "Extrapolated",
    "FilmCurves",
    "FilmError",
    "FilmHardness",
    "FilmLayer",
    "FilmResult",
    "FilmTests",
    "HardnessTests",
    "Plateau",
    "Samples",
    "Structure",
    "Substrate",
    "area_size",
    "by_group",
    "compare",
    "count_areas",
    "count_areas_hardness",
    "extrapolate",
    "film_curves",
    "film_hardness",
    "film_tests",
    "hardness_tests",
    "infer",
    "known",
    "one_film",
    "pile_up_remarks",
    "plateau",
    "sample",
    "size_words",
    "sought",
    "stress_remark",
    "tests_from_stiffness",
    "with_areas",
]
