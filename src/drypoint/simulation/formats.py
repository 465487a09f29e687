"""The two styles of raw file that the demo writes. Both are Drypoint's own invention.

Style A: one test a file; ``key: value`` lines, a row of names, a row of units, numbers with a
decimal comma between semicolons; UTF-8, lines end with CR LF.

Style B: several tests a file; tabs between columns, decimal points, units in the names. The tests
are told apart by a column (``"column"``) or stand in blocks between blank lines, each with its own
header (``"blocks"``).
"""

from __future__ import annotations

import codecs
import gzip
import io
from collections.abc import Mapping, Sequence

from drypoint.records.segments import KIND_NAMES, Kind
from drypoint.simulation.record import Record

#: First line of every invented raw file.
INVENTED = "Invented record from the demo of Drypoint, not a measurement"

_NAMES = ("Time [s]", "Force [µN]", "Depth [nm]")


def style_a(record: Record) -> bytes:
    """One record in style A. ``Truth.declared`` gives the header, in its order."""
    lines = [f"Remark: {INVENTED}"]
    lines += [f"{k}: {v}" for k, v in _header(record, ",").items()]
    lines += ["Time;Force;Depth", "s;mN;nm"]
    rows = zip(
        record.time.tolist(),
        (record.force * 1e3).tolist(),
        (record.depth * 1e9).tolist(),
        strict=True,
    )
    lines += [f"{t:.2f};{F:.5f};{h:.3f}".replace(".", ",") for t, F, h in rows]
    return ("\r\n".join(lines) + "\r\n").encode("utf-8")


def style_b(
    records: Sequence[Record],
    header: Mapping[str, str],
    *,
    split: str,
    encoding: str,
    newline: str = "\n",
) -> bytes:
    """Records in style B. ``header`` holds for the file; ``split`` is ``column`` or ``blocks``.

    Files split by a column also have a position in two columns and the segment in words.
    """
    lines = [f"# {INVENTED}"] + [f"{k}\t{v}" for k, v in header.items()]
    if split == "column":
        lines.append("\t".join(("Test", *_NAMES, "X [µm]", "Y [µm]", "Segment")))
        for r in records:
            lines += _rows_with_place(r)
    else:
        for r in records:
            own = _header(r, ".")
            lines += ["", f"Test\t{r.truth.name}"]
            lines += [f"{k}\t{v}" for k, v in own.items() if k != "Test"]
            lines.append("\t".join(_NAMES))
            lines += [f"{t:.2f}\t{F:.2f}\t{h:.3f}" for t, F, h in _numbers(r)]
    text = newline.join(lines) + newline
    if encoding == "utf-16":  # the same bytes on every machine
        return codecs.BOM_UTF16_LE + text.encode("utf-16-le")
    return text.encode(encoding)


def zipped(data: bytes) -> bytes:
    """Gzip without name and time, so that the same data give the same file."""
    out = io.BytesIO()
    with gzip.GzipFile(filename="", fileobj=out, mode="wb", mtime=0) as file:
        file.write(data)
    return out.getvalue()


def _header(record: Record, decimal: str) -> dict[str, str]:
    pairs = {"Test": record.truth.name, **record.truth.declared}
    if record.truth.position_m is not None:
        x, y = record.truth.position_m
        for key, value in (("X", x), ("Y", y)):
            pairs[key] = f"{value * 1e6:.1f} µm".replace(".", decimal)
    return pairs


def _numbers(record: Record) -> list[tuple[float, float, float]]:
    return list(
        zip(
            record.time.tolist(),
            (record.force * 1e6).tolist(),
            (record.depth * 1e9).tolist(),
            strict=True,
        )
    )


def _rows_with_place(record: Record) -> list[str]:
    x, y = record.truth.position_m or (0.0, 0.0)
    place = f"{x * 1e6:.1f}\t{y * 1e6:.1f}"
    words = {int(k): f"\t{place}\t{KIND_NAMES[k]}" for k in Kind}
    name = record.truth.name
    return [
        f"{name}\t{t:.2f}\t{F:.2f}\t{h:.3f}{words[s]}"
        for (t, F, h), s in zip(_numbers(record), record.segment.tolist(), strict=True)
    ]
