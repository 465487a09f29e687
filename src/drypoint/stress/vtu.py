"""A step of a run as the bytes of a VTU file (VTK's XML format of unstructured grids, binary).

Pure: the caller writes the bytes.
"""

from __future__ import annotations

import base64

import numpy as np
from numpy.typing import NDArray

from drypoint.notices import COMPUTED
from drypoint.stress.fields import field
from drypoint.stress.solution import Solution

_QUAD = 9  # VTK's number of a four-node quadrilateral
_NAMES = {"float64": "Float64", "int64": "Int64", "uint8": "UInt8"}


def vtu_bytes(run: Solution, step: int, notice: str = COMPUTED) -> bytes:
    """One step: nodes in their place now (r, z, 0), displacement, and the elements' mean fields.

    ``notice`` is printed as a comment at the head of the file (ASCII, without “--”).

    Raises
    ------
    StressError
        Where the run did not keep fields.
    """
    f = field(run, step)
    place = run.mesh.X + run.displacement[step]
    n, m = len(place), len(run.mesh.quads)
    zeros = np.zeros((n, 1))
    cells = [
        _array("layer", run.mesh.layer),
        _array("stress rr rz zz hoop", f.sigma.mean(axis=1)),
        _array("von Mises stress", f.von_mises.mean(axis=1)),
        _array("mean stress", f.hydrostatic.mean(axis=1)),
        _array("principal stresses", f.principal.mean(axis=1)),
        _array("plastic strain", f.plastic_strain.mean(axis=1)),
    ]
    parts = [
        '<?xml version="1.0"?>',
        f"<!-- {notice} -->",
        '<VTKFile type="UnstructuredGrid" version="1.0" byte_order="LittleEndian" '
        'header_type="UInt64">',
        f'<UnstructuredGrid><Piece NumberOfPoints="{n}" NumberOfCells="{m}">',
        "<Points>",
        _array("Points", np.hstack([place, zeros])),
        "</Points><PointData>",
        _array("displacement", np.hstack([run.displacement[step], zeros])),
        "</PointData><CellData>",
        *cells,
        "</CellData><Cells>",
        _array("connectivity", run.mesh.quads.ravel()),
        _array("offsets", 4 * np.arange(1, m + 1)),
        _array("types", np.full(m, _QUAD, dtype=np.uint8)),
        "</Cells></Piece></UnstructuredGrid></VTKFile>",
    ]
    return "\n".join(parts).encode("ascii")


def _array(name: str, values: NDArray) -> str:
    """One DataArray: length of the data in bytes, then the data, in base 64."""
    data = np.ascontiguousarray(values, dtype=values.dtype.newbyteorder("<")).tobytes()
    head = np.array([len(data)], dtype="<u8").tobytes()
    kind = _NAMES[values.dtype.name]
    parts = "" if values.ndim == 1 else f' NumberOfComponents="{values.shape[1]}"'
    text = base64.b64encode(head + data).decode("ascii")
    return f'<DataArray type="{kind}" Name="{name}"{parts} format="binary">{text}</DataArray>'
