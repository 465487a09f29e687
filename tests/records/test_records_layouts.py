"""One battery over delimiters, decimal marks, encodings, line ends, spellings and splits.

All files are invented here. Factors of units: NIST SP 811 (2008), appendix B.8: the gram-force is
9.806 65e-3 N exactly, the ångström 1e-10 m.
"""

from __future__ import annotations

import hashlib
import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_records import Invented, invented, lines_of, plain_file, save

from drypoint.records import Column, Layout, read, understand

DELIMITERS = {
    "comma": ",",
    "semicolon": ";",
    "tab": "\t",
    "bar": "|",
    "blank": " ",
    "blanks": "   ",
}
FORCE = {"mN": 1e-3, "µN": 1e-6, "μN": 1e-6, "uN": 1e-6, "N": 1.0, "gf": 9.80665e-3}
DEPTH = {"nm": 1e-9, "µm": 1e-6, "um": 1e-6, "Å": 1e-10, "mm": 1e-3}
TIME = {"s": 1.0, "ms": 1e-3, "min": 60.0}


def same(batch: object, record: Invented, rtol: float = 1e-8) -> None:
    for name in ("time", "force", "depth"):
        expected = getattr(record, name)
        np.testing.assert_allclose(
            getattr(batch, name), expected, rtol=rtol, atol=rtol * np.abs(expected).max()
        )


@pytest.mark.parametrize(
    ("delimiter", "decimal"),
    [p for p in itertools.product(DELIMITERS, ".,") if p != ("comma", ",")],
)
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_every_layout_gives_the_same_record(
    tmp_path: Path, delimiter: str, decimal: str, newline: str, encoding: str
) -> None:
    record = invented()
    path = plain_file(
        tmp_path / "a.txt",
        record,
        delimiter=DELIMITERS[delimiter],
        decimal=decimal,
        names=("Zeit/s", "Prüfkraft/mN", "Tiefe/µm"),
        scales=(1.0, 1e-3, 1e-6),
        head=["Temperatur: 23,1 °C", "Prüfer: Invented Name", ""],
        newline=newline,
        encoding=encoding,
    )
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    outcome = read([path], root=tmp_path)
    assert outcome.set_aside == ()
    same(outcome.batch, record)
    test = outcome.batch.tests[0]
    assert test.declared["temperature"] == "23,1 °C"
    assert test.declared["operator"] == "Invented Name"
    assert test.source.path == "a.txt" and test.source.sha256 == before
    assert (test.source.first_line, test.source.last_line) == (5, 64)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before
    assert any("cp1252" in note for note in outcome.notes) == (encoding == "cp1252")
    seen = understand(path)
    assert seen.clear and seen.header_line == 4 and seen.first_data_line == 5
    assert seen.delimiter == DELIMITERS[delimiter][0] and seen.decimal == decimal


@pytest.mark.parametrize(("unit", "factor"), FORCE.items())
@pytest.mark.parametrize(("depth_unit", "depth_factor"), DEPTH.items())
def test_units_change_nothing(
    tmp_path: Path, unit: str, factor: float, depth_unit: str, depth_factor: float
) -> None:
    record = invented()
    path = plain_file(
        tmp_path / "a.txt",
        record,
        names=("t [s]", f"Load [{unit}]", f"h [{depth_unit}]"),
        scales=(1.0, factor, depth_factor),
        digits=17,
    )
    same(read([path]).batch, record, rtol=1e-12)


SPELLINGS = [
    ("Load (mN)", "Depth (nm)", "Time (s)"),
    ("Load [mN]", "h [nm]", "t [s]"),
    ("Force / mN", "Displacement / nm", "Time / s"),
    ("Force/mN", "Depth/nm", "Time/s"),
    ("Force_mN", "Displacement_nm", "Time_s"),
    ("P (mN)", "h (nm)", "t (s)"),
    ("Fn (mN)", "Penetration depth (nm)", "Elapsed time (s)"),
    ("F_n [mN]", "Indentation depth [nm]", "time [sec]"),
    ("Kraft in mN", "Eindringtiefe in nm", "Zeit in s"),
    ("Prüfkraft (mN)", "Tiefe (nm)", "Messzeit (s)"),
    ("Charge (mN)", "Enfoncement (nm)", "Temps (s)"),
    ("Effort (mN)", "Profondeur (nm)", "Durée (s)"),
    ("LOAD mN", "DEPTH nm", "TIME s"),
    ('"Load (mN)"', '"Depth (nm)"', '"Time (s)"'),
]


@pytest.mark.parametrize("names", SPELLINGS, ids=lambda n: n[0])
@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_names_of_the_trade_in_any_order(
    tmp_path: Path, names: tuple[str, ...], order: tuple[int, ...]
) -> None:
    record = invented()
    columns = [record.force * 1e3, record.depth * 1e9, record.time]
    rows = lines_of([columns[i] for i in order])
    path = save(tmp_path / "a.txt", [";".join(names[i] for i in order), *rows])
    outcome = read([path])
    assert outcome.set_aside == ()
    same(outcome.batch, record)


@pytest.mark.parametrize("row", ["s;mN;nm", "[s];[mN];[nm]", "(s);(mN);(nm)"])
def test_unit_row(tmp_path: Path, row: str) -> None:
    record = invented()
    path = plain_file(tmp_path / "a.txt", record, names=("Time", "Load", "Depth"))
    lines = path.read_text().split("\n")
    save(path, [lines[0], row, "-----", *lines[1:-1]])
    same(read([path]).batch, record)
    assert understand(path).unit_line == 2


@pytest.mark.parametrize("by", ["name", "index"])
def test_declared_columns(tmp_path: Path, by: str) -> None:
    record = invented()
    names = ("A", "B", "C") if by == "name" else ()
    path = plain_file(tmp_path / "a.txt", record, names=names)
    columns = {
        role: Column(
            name=f" {'abc'[i]} " if by == "name" else None,
            index=i + 1 if by == "index" else None,
            unit=unit,
        )
        for i, (role, unit) in enumerate({"time": "s", "force": "mN", "depth": "nm"}.items())
    }
    outcome = read([path], Layout(columns=columns))
    assert outcome.set_aside == ()
    same(outcome.batch, record)


def test_declared_scale_and_sampling(tmp_path: Path) -> None:
    record = invented()
    rows = lines_of([-record.force * 1e3, record.depth * 1e9])
    path = save(tmp_path / "a.txt", ["Load (mN);Depth (nm)", *rows])
    layout = Layout(columns={"force": Column(name="load", scale=-1.0)}, sampling_Hz=20.0)
    same(read([path], layout).batch, record)
    without = read([path]).batch
    assert np.isnan(without.time).all()


def test_blanks_and_delimiters_at_the_ends_are_fine(tmp_path: Path) -> None:
    record = invented()
    path = plain_file(tmp_path / "a.txt", record)
    lines = path.read_text().split("\n")[:-1]
    save(path, [*(f" {line.replace(';', ' ; ')} ; " for line in lines), "", "  ", ";;;", ""])
    outcome = read([path])
    assert outcome.set_aside == ()
    same(outcome.batch, record)


def test_quoted_decimal_commas(tmp_path: Path) -> None:
    record = invented()
    columns = (record.time, record.force * 1e3, record.depth * 1e9)
    rows = [",".join(f'"{f}"' for f in line.split(";")) for line in lines_of(columns, decimal=",")]
    path = save(tmp_path / "a.csv", ["Time (s),Load (mN),Depth (nm)", *rows])
    outcome = read([path])
    assert outcome.set_aside == ()
    same(outcome.batch, record)


@pytest.mark.parametrize(("mark", "decimal"), [(".", ","), (",", "."), ("'", "."), ("\u202f", ",")])
def test_thousands_marks_that_leave_no_doubt(tmp_path: Path, mark: str, decimal: str) -> None:
    record = invented()
    depth = [
        f"{v:,.4f}".replace(",", "T").replace(".", decimal).replace("T", mark)
        for v in record.depth * 1e10
    ]
    times = lines_of([record.time], decimal=decimal)
    force = lines_of([record.force * 1e3], decimal=decimal)
    lines = [";".join(row) for row in zip(times, force, depth, strict=True)]
    path = save(tmp_path / "a.txt", ["Time (s);Load (mN);Depth (Å)", *lines])
    outcome = read([path])
    assert outcome.set_aside == ()
    same(outcome.batch, record, rtol=1e-7)


@pytest.mark.parametrize("zipped", [False, True])
@pytest.mark.parametrize("split", ["column", "blank lines", "blank lines with header"])
@pytest.mark.parametrize("segments", [False, True])
def test_several_tests_in_a_file(tmp_path: Path, zipped: bool, split: str, segments: bool) -> None:
    records = [invented(seed=k, scale=k) for k in (1, 2, 3)]
    words = ["load"] * 30 + ["hold"] * 10 + ["unload"] * 20
    names = ["Time (s)", "Load (mN)", "Depth (nm)"]
    head = [*(["Test"] if split == "column" else []), *names, *(["Segment"] if segments else [])]
    lines: list[str] = [] if split.endswith("header") else [";".join(head)]
    for k, r in enumerate(records, 1):
        columns: list[object] = [r.time, r.force * 1e3, r.depth * 1e9]
        if split == "column":
            columns.insert(0, [f"P{k}"] * 60)
        if segments:
            columns.append(words)
        if split.endswith("header"):
            lines += [f"Test: P{k}", f"Temperature: 2{k} °C", "", ";".join(head)]
        lines += [*lines_of(columns), *([""] if split != "column" else [])]  # type: ignore[arg-type]
    path = save(tmp_path / f"many.txt{'.gz' if zipped else ''}", lines, zipped=zipped)
    outcome = read([path], root=tmp_path)
    batch = outcome.batch
    assert outcome.set_aside == ()
    labels = ["1", "2", "3"] if split == "blank lines" else ["P1", "P2", "P3"]
    assert [t.name for t in batch.tests] == [f"many:{label}" for label in labels]
    assert batch.offsets.tolist() == [0, 60, 120, 180]
    for k, r in enumerate(records):
        same(batch.take([k]), r)
    if segments:
        assert batch.segment_labels == ("load", "hold", "unload")
        assert [batch.segment_labels[i] for i in batch.segment[:60]] == words
    else:
        assert (batch.segment == -1).all()
    if split.endswith("header"):
        assert [t.declared["temperature"] for t in batch.tests] == ["21 °C", "22 °C", "23 °C"]
    seen = understand(path)
    assert [t.samples for t in seen.tests] == [60, 60, 60]
    assert seen.tests[0].rate_Hz == pytest.approx(20)
    assert seen.tests[0].jitter == pytest.approx(0, abs=1e-6)


def test_blocks_with_a_title(tmp_path: Path) -> None:
    head = ["Time (s)  Load (mN)  Depth (nm)", ""]
    lines = []
    for k in (1, 2):
        r = invented(seed=k)
        body = lines_of([r.time, r.force * 1e3, r.depth * 1e9], delimiter="  ")
        lines += [f"Indent number {k}", *head, *body, "", ""]
    outcome = read([save(tmp_path / "a.txt", lines)])
    assert outcome.set_aside == ()
    assert [t.name for t in outcome.batch.tests] == ["a:Indent number 1", "a:Indent number 2"]
    assert outcome.batch.tests[1].source.first_line == 69


def test_split_files_read_like_one(tmp_path: Path) -> None:
    records = [invented(seed=k) for k in range(4)]
    single = [plain_file(tmp_path / f"r{k}.txt", r) for k, r in enumerate(records)]
    body = [p.read_text().split("\n")[:-1] for p in single]
    rows = [*body[0], *(line for b in body[1:] for line in ["", *b[1:]])]
    together = read([save(tmp_path / "all.txt", rows)]).batch
    apart = read(single).batch
    for name in ("time", "force", "depth", "offsets"):
        np.testing.assert_array_equal(getattr(together, name), getattr(apart, name))


def test_further_columns_and_positions_are_kept(tmp_path: Path) -> None:
    record = invented()
    n = len(record.time)
    columns = [
        record.time,
        record.force * 1e3,
        record.depth * 1e9,
        np.full(n, 1.5),
        np.full(n, -2.0),
        np.full(n, 23.0),
        record.force * 100,
        np.arange(n) * 1.0,
    ]
    head = (
        "Time (s);Load (mN);Depth (nm);Stage X (mm);Stage Y (mm);Temperature (°C);"
        "Lateral force (mN);Mystery"
    )
    batch = read([save(tmp_path / "a.txt", [head, *lines_of(columns)])]).batch
    assert batch.tests[0].position_m == pytest.approx((1.5e-3, -2e-3))
    assert batch.channels["temperature"][0] == pytest.approx(296.15)
    np.testing.assert_allclose(batch.channels["lateral_force"], record.force * 0.1, rtol=1e-8)
    np.testing.assert_array_equal(batch.channels["mystery"], np.arange(n))


def test_header_pairs(tmp_path: Path) -> None:
    head = [
        "Operator = A. Nobody",
        "Datum: 2024-03-01",
        "Uhrzeit: 12:31:05",
        "Humidity\t41 %",
        "Indenter;invented pyramid 7",
        "Control mode: load control",
        "X Position (µm): 120,5",
        "Y Position (µm): -3",
        "Sample: glass A",
        "Note on Lens: clean",
    ]
    test = read([plain_file(tmp_path / "a.txt", invented(), head=head)]).batch.tests[0]
    assert test.declared == {
        "operator": "A. Nobody",
        "date": "2024-03-01",
        "time": "12:31:05",
        "humidity": "41 %",
        "indenter": "invented pyramid 7",
        "control": "force",
        "x": "120,5 µm",
        "y": "-3 µm",
        "specimen": "glass A",
        "note on lens": "clean",
    }
    assert test.position_m == pytest.approx((120.5e-6, -3e-6))
    assert test.specimen == "glass A"


def test_names_are_unique_and_files_relative(tmp_path: Path) -> None:
    paths = []
    for k, folder in enumerate(("a", "b")):
        (tmp_path / folder).mkdir()
        paths.append(plain_file(tmp_path / folder / "r.txt", invented(seed=k)))
    batch = read(paths, root=tmp_path).batch
    assert [t.name for t in batch.tests] == ["r", "b/r"]
    assert [t.source.path for t in batch.tests] == ["a/r.txt", "b/r.txt"]
    assert [t.name for t in read(paths, names=["one", "two"]).batch.tests] == ["one", "two"]


def test_the_published_records_read(shared_data: Path) -> None:
    paths = sorted((shared_data / "raw_curves").glob("test_*.csv"))
    outcome = read(paths)
    assert outcome.set_aside == () and len(outcome.batch) == 12
    table = np.loadtxt(paths[0], delimiter=",", skiprows=1)
    first = outcome.batch.take([0])
    np.testing.assert_allclose(first.time, table[:, 0], rtol=1e-15)
    np.testing.assert_allclose(first.depth, table[:, 1] * 1e-9, rtol=1e-14)
    np.testing.assert_allclose(first.force, table[:, 2] * 1e-6, rtol=1e-14)


@st.composite
def layouts(draw: st.DrawFn) -> dict[str, object]:
    delimiter = draw(st.sampled_from([",", ";", "\t", "|", " ", "    "]))
    decimal = draw(st.sampled_from(".," if delimiter != "," else "."))
    force, depth, time = (draw(st.sampled_from(sorted(u))) for u in (FORCE, DEPTH, TIME))
    return {
        "delimiter": delimiter,
        "decimal": decimal,
        "names": (f"Time ({time})", f"Force ({force})", f"Depth ({depth})"),
        "scales": (TIME[time], FORCE[force], DEPTH[depth]),
        "newline": draw(st.sampled_from(["\n", "\r\n", "\r"])),
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"])),
        "zipped": draw(st.booleans()),
        "end": draw(st.booleans()),
        "digits": draw(st.integers(7, 15)),
        "head": draw(
            st.lists(st.sampled_from(["", "Operator: X", "# words", "A = 1.5"]), max_size=4)
        ),
    }


@settings(max_examples=150)
@given(
    how=layouts(),
    n=st.integers(12, 50),
    peak=st.floats(1e-5, 0.5),
    deep=st.floats(1e-8, 1e-5),
    seed=st.integers(0, 10_000),
)
def test_what_is_written_is_read_back(
    tmp_path_factory: pytest.TempPathFactory,
    how: dict[str, object],
    n: int,
    peak: float,
    deep: float,
    seed: int,
) -> None:
    r = invented(n, seed=seed)
    record = Invented(r.time, r.force / 10e-3 * peak, r.depth / 400e-9 * deep)
    path = tmp_path_factory.mktemp("h") / "a.txt"
    plain_file(path, record, **how)  # type: ignore[arg-type]
    outcome = read([path])
    assert outcome.set_aside == ()
    same(outcome.batch, record, rtol=10.0 ** (1 - int(str(how["digits"]))))
