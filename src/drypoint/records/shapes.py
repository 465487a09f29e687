"""Many texts of one shape, read together: same rows of names and units, same kind of header.

A shape is learned from files that were read with all care. The next ones are compared with it line
by line above the numbers and byte by byte in them; whatever differs is read with all care again,
so that what a file gives never depends on those read before it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.records import header
from drypoint.records.batch import UNDECLARED, Batch, Floats, Source, TestInfo
from drypoint.records.documents import Document
from drypoint.records.finish import FileRead, position, unique
from drypoint.records.judge import GAP_STEPS, judge
from drypoint.records.layout import Layout
from drypoint.records.shape_match import LARGEST, Shape, Waiting, match
from drypoint.threads import in_stretches, together

#: Files of one shape that are read with all care before the others are read together.
LEARN = 3
_ENCODINGS = ("utf-8", "utf-8-sig", "cp1252", "latin-1", "iso-8859-1", "ascii")
_HARD = 20_000


class Shapes:
    """The shapes met so far in one reading."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.known: list[Shape] = []

    def learn(self, doc: Document, file: FileRead, notes: list[str], faulty: bool) -> None:
        """Keep the shape of a file that was read without any doubt."""
        shape = None if faulty else _shape_of(doc, file, notes, self.layout)
        if shape is None:
            return
        for known in self.known:
            if known.key == shape.key:
                known.seen += 1
                known.labels = tuple(dict.fromkeys((*known.labels, *shape.labels)))
                return
        if len(self.known) < 50:
            self.known.append(shape)

    def match(self, doc: Document) -> Waiting | None:
        """The text as one of a known shape, if its header is of that shape."""
        for shape in self.known:
            if shape.seen < LEARN or shape.strikes > 3:
                continue
            found = match(doc, shape)
            if found is not None:
                return found
        return None

    def read(
        self, waiting: list[Waiting], specimen: str, used: set[str]
    ) -> Iterator[Batch | Document | str]:
        """Batches of texts of one shape in their order, notes, and the texts that need care."""
        from drypoint.records.kernels import odd_clocks

        shape = waiting[0].shape
        rows, out, codes = _parse(waiting, shape, self.layout.decimal is not None)
        ends = np.cumsum(rows)
        columns, channels = _si(shape, out[:, : ends[-1]])
        if "time" not in columns:
            columns["time"] = np.full(ends[-1], np.nan)
            if self.layout.sampling_Hz is not None:
                first = np.repeat(ends - rows, rows)
                columns["time"] = (np.arange(ends[-1]) - first) / self.layout.sampling_Hz
        bounds = np.concatenate([[0], ends]).astype(np.int64)
        odd = odd_clocks(columns["time"], bounds, GAP_STEPS)
        infos: list[TestInfo] = []
        run: list[int] = []
        for k, item in enumerate(waiting):
            a, b = int(bounds[k]), int(bounds[k + 1])
            fine = a < b
            if fine and odd[k]:
                time, force, depth = (columns[c][a:b] for c in ("time", "force", "depth"))
                lines = np.arange(b - a) + shape.dialect.first_data_line
                fine = judge(time, force, depth, lines) is None
            if not fine:
                shape.strikes += a == b
                if run:
                    yield _batch(infos, bounds, run, columns, channels, codes, shape)
                    infos, run = [], []
                yield item.doc
                continue
            shape.strikes = 0
            infos.append(_info(item, shape, channels, a, b, specimen, used))
            run.append(k)
            for note in shape.notes:
                yield f"{item.doc.shown}: {note}"
        if run:
            yield _batch(infos, bounds, run, columns, channels, codes, shape)


def _shape_of(doc: Document, file: FileRead, notes: list[str], layout: Layout) -> Shape | None:
    d, decoded = file.dialect, file.decoded
    parts = file.parted.parts
    plain = (
        isinstance(doc.body, bytes)
        and len(doc.body) < LARGEST
        and not decoded.compressed
        and decoded.note is None
        and decoded.encoding in _ENCODINGS
        and layout.comment is None
        and d.thousands is None
        and file.parted.split != "column"
        and not file.parted.remarks
        and not file.parted.table.remarks
        and len(parts) == 1
        and parts[0].label is None
        and parts[0].declared == {}
    )
    if not plain:
        return None
    lines = decoded.text.split("\n", d.first_data_line)[: d.first_data_line - 1]
    if d.header_line is None:
        fixed = dict(enumerate(lines))
    else:
        fixed = {i: lines[i] for i in range(d.header_line - 1, len(lines))}
        if lines and lines[0].lower().lstrip('"').startswith("sep="):
            fixed[0] = lines[0]
    segment = file.assignment.role("segment")
    words = file.parted.table.words
    labels = tuple(words[segment.index - 1].unique(maintain_order=True)) if segment else ()
    if any('"' in v or "#" in v for v in labels) or len(labels) > 200:
        return None
    kinds = _kinds(file)
    if kinds is None:
        return None
    keep = tuple(notes)
    used = tuple(file.assignment.columns)
    return Shape(d, decoded.encoding, fixed, used, kinds, tuple(v for v in labels if v), keep)


def _kinds(file: FileRead) -> NDArray[np.int64] | None:
    """What each field is to the parser; columns behind the last real one are empty."""
    from drypoint.records.kernels import EMPTY, NUMBER, SKIP, WORD

    kinds = []
    columns = file.assignment.columns
    real = max((c.index for c in columns if c.name or c.numeric), default=len(columns))
    for c in columns:
        if c.index > real:
            kinds.append(EMPTY)
        elif c.role == "segment":
            kinds.append(WORD)
        elif c.role == "ignore" or not c.numeric or c.role == "test":
            kinds.append(SKIP)
        else:
            kinds.append(NUMBER)
    return np.array(kinds, dtype=np.int64) if kinds.count(WORD) < 2 else None


def _parse(
    waiting: list[Waiting], shape: Shape, declared_mark: bool
) -> tuple[NDArray[np.int64], Floats, NDArray[np.int16]]:
    """Rows of each text (0: not of the shape), numbers by column, codes of the segments."""
    from drypoint.records.kernels import NUMBER, WORD, parse_files

    d = shape.dialect
    bodies = [w.doc.body[w.start :] for w in waiting if isinstance(w.doc.body, bytes)]
    whole = b"".join(bodies)
    buf = np.frombuffer(whole, dtype=np.uint8)
    stops = np.cumsum([len(b) for b in bodies]).astype(np.int64)
    starts = np.concatenate([[0], stops[:-1]]).astype(np.int64)
    encoding = "utf-8" if shape.encoding == "utf-8-sig" else shape.encoding
    words = [v.encode(encoding, errors="replace") for v in shape.labels]
    spelled = np.frombuffer(b"".join(words) or b"\0", dtype=np.uint8)
    spelled_ends = np.cumsum([0, *map(len, words)]).astype(np.int64)
    columns, coded = int((shape.kinds == NUMBER).sum()), bool((shape.kinds == WORD).any())

    def some(first: int, stop: int) -> tuple[NDArray[Any], ...]:
        most = whole.count(b"\n", starts[first], stops[stop - 1])
        out = np.empty((columns, most))
        codes = np.full(most if coded else 0, UNDECLARED, dtype=np.int16)
        hard = np.empty((_HARD, 4), dtype=np.int64)
        rows, n_hard = parse_files(
            buf, starts[first:stop], stops[first:stop], ord(d.delimiter), ord(d.decimal),
            shape.kinds, spelled, spelled_ends, declared_mark or d.delimiter == ",", out, codes,
            hard,
        )  # fmt: skip
        for slot, row, a, b in hard[:n_hard].tolist():
            out[slot, row] = float(whole[a:b].decode("ascii").replace(d.decimal, "."))
        used = int(rows.sum())
        return rows, out.T[:used], codes[:used]

    rows, found, codes = together(in_stretches(len(waiting), some, least=8))
    out: Floats = np.ascontiguousarray(found.T)
    ends = np.cumsum(rows)
    bad = np.flatnonzero(~np.isfinite(out).all(axis=0))
    if len(bad):
        lost = np.unique(np.searchsorted(ends, bad, side="right"))
        keep = np.ones(len(rows), dtype=bool)
        keep[lost] = False
        which = np.repeat(keep, rows)
        out = np.ascontiguousarray(out[:, which])
        codes = codes[which] if len(codes) else codes
        rows = np.where(keep, rows, 0)
    return rows, out, codes


def _si(shape: Shape, numbers: Floats) -> tuple[dict[str, Floats], dict[str, Floats]]:
    from drypoint.records.kernels import NUMBER

    columns: dict[str, Floats] = {}
    channels: dict[str, Floats] = {}
    kept = [c for c, kind in zip(shape.columns, shape.kinds, strict=True) if kind == NUMBER]
    for row, c in zip(numbers, kept, strict=True):
        values = row * c.scale if c.scale != 1.0 else row
        values = values + c.offset if c.offset else values
        if c.channel:
            channels[c.channel] = values
        else:
            columns[c.role] = values
    columns.setdefault("depth", np.full(numbers.shape[1], np.nan))
    return columns, channels


def _info(
    item: Waiting, shape: Shape, channels: dict[str, Floats], a: int, b: int, specimen: str,
    used: set[str],
) -> TestInfo:  # fmt: skip
    doc = item.doc
    first = shape.dialect.first_data_line
    return TestInfo(
        unique(doc.stem, doc.folder, used),
        specimen or item.declared.get("specimen", ""),
        Source(doc.shown, doc.sha256, first, first + b - a - 1, doc.member_sha256),
        position(channels, slice(a, b)) or header.position(item.declared),
        dict(item.declared),
    )


def _batch(
    infos: list[TestInfo],
    bounds: NDArray[np.int64],
    run: list[int],
    columns: dict[str, Floats],
    channels: dict[str, Floats],
    codes: NDArray[np.int16],
    shape: Shape,
) -> Batch:
    a, b = int(bounds[run[0]]), int(bounds[run[-1] + 1])
    s = slice(a, b)
    none = np.full(b - a, UNDECLARED, dtype=np.int16)
    return Batch(
        tests=tuple(infos),
        offsets=bounds[run[0] : run[-1] + 2] - a,
        time=columns["time"][s],
        force=columns["force"][s],
        depth=columns["depth"][s],
        segment=codes[s] if len(codes) else none,
        segment_labels=shape.labels if len(codes) else (),
        channels={k: v[s] for k, v in channels.items()},
    )
