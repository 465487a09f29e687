"""Tables of numbers that are shipped with the program."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray


@cache
def packaged_arrays(name: str) -> dict[str, NDArray[Any]]:
    """The arrays of a shipped table by their names, read once; not to be changed.

    Parameters
    ----------
    name : str
        ``"blunted"``: the law of first contact of a blunted tip, from finite elements
        (:mod:`drypoint.contact.blunted`).
    """
    path = files("drypoint.materials").joinpath(f"{name}.npz")
    with path.open("rb") as stream, np.load(stream, allow_pickle=False) as data:
        return {key: data[key] for key in data.files}


__all__ = ["packaged_arrays"]
