"""Raw files as a hostile hand would make them, drawn from a seed. Invented data.

Nothing here imports a subpackage of ours. ``make`` writes one file and says of what kind it is.
"""

from __future__ import annotations

import gzip
import io
import json
import os
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

#: Peak load (mN) of the record outside the folder; must never be read.
SECRET_MN = 77.125
SECRET = "7f1c-secret-word"

RELATIONS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/'
    'relationships">{}</Relationships>'
)
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
HEAD = "Time (s){0}Load (mN){0}Depth (nm)"


def rows(n: int = 60, peak: float = 10.0) -> list[tuple[float, float, float]]:
    """A loading and an unloading: time in s, force in mN, depth in nm."""
    up = [(k / n) for k in range(1, n + 1)]
    out = [(0.1 * k, peak * u * u, 400 * u) for k, u in enumerate(up)]
    for k in range(n // 2):
        v = 1 - (k + 1) / (n // 2) * 0.95
        out.append((0.1 * (n + k), peak * v**1.5, 400 * (0.8 + 0.2 * v)))
    return out


def record_text(delimiter: str = ";", peak: float = 10.0) -> str:
    """A record as delimited text."""
    lines = [delimiter.join(f"{v:.9g}" for v in row) for row in rows(peak=peak)]
    return "\n".join([HEAD.format(delimiter), *lines]) + "\n"


def zipped(parts: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", method) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return held.getvalue()


def xlsx(
    sheet: str,
    *,
    part: str = "xl/worksheets/sheet1.xml",
    target: str = "",
    strings: str = "",
    entries: int = 1,
    relation: str = "worksheet",
) -> bytes:
    """A workbook of which one sheet has the given XML (inside ``worksheet``)."""
    target = target or part.removeprefix("xl/")
    relations = [f'<Relationship Id="r1" Type="{_OFFICE}/{relation}" Target="{target}"/>']
    if strings:
        relations.append(
            f'<Relationship Id="r2" Type="{_OFFICE}/sharedStrings" Target="sharedStrings.xml"/>'
        )
    book = "".join(f'<sheet name="S{k}" sheetId="{k + 1}" r:id="r1"/>' for k in range(entries))
    root = f'<Relationship Id="a" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/>'
    parts = {
        "[Content_Types].xml": b"<?xml version='1.0'?><Types/>",
        "_rels/.rels": RELATIONS.format(root).encode(),
        "xl/_rels/workbook.xml.rels": RELATIONS.format("".join(relations)).encode(),
        "xl/workbook.xml": f'<?xml version="1.0"?><workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}">'
        f"<sheets>{book}</sheets></workbook>".encode(),
        part: f'<?xml version="1.0"?><worksheet xmlns="{_MAIN}">{sheet}</worksheet>'.encode(),
    }
    if strings:
        parts["xl/sharedStrings.xml"] = (
            f'<?xml version="1.0"?><sst xmlns="{_MAIN}">{strings}</sst>'.encode()
        )
    return zipped(parts)


def data(body: str) -> str:
    return f"<sheetData>{body}</sheetData>"


def sound_cells() -> str:
    names = "".join(
        f'<c t="inlineStr"><is><t>{n}</t></is></c>' for n in HEAD.format("|").split("|")
    )
    lines = ["".join(f"<c><v>{v:.9g}</v></c>" for v in row) for row in rows()]
    return "".join(f"<row>{line}</row>" for line in [names, *lines])


def ods(tables: str) -> bytes:
    """An open document with the given tables."""
    names = ("office", "table", "text")
    spaces = " ".join(f'xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in names)
    content = (
        f'<?xml version="1.0"?><office:document-content {spaces}><office:body>'
        f"<office:spreadsheet>{tables}</office:spreadsheet></office:body>"
        "</office:document-content>"
    )
    manifest = (
        '<?xml version="1.0"?><manifest:manifest '
        'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>'
    )
    return zipped(
        {
            "mimetype": b"application/vnd.oasis.opendocument.spreadsheet",
            "META-INF/manifest.xml": manifest.encode(),
            "content.xml": content.encode(),
        }
    )


# --- spreadsheets ------------


def sheet_far(rng: random.Random) -> tuple[str, bytes]:
    """One cell far away, written in one of many ways, in a part of any name."""
    eq = rng.choice(["=", " = ", "\n=\n", " =\t"])
    quote = rng.choice(["'", '"'])
    row = rng.choice([1048576, 1048577, 10**7, 10**13, 2**32 + 7, 366, 65536])
    column = rng.choice(["XFD", "XFE", "ZZZ", "ZZZZZZZ", "A", "xfd"])
    cell = rng.choice(
        [
            f"<row r{eq}{quote}{row}{quote}><c r{eq}{quote}{column}{row}{quote}><v>1</v></c></row>",
            f"<row><c r{eq}{quote}{column}{row}{quote}><v>1</v></c></row>",
            f"<row r{eq}{quote}{row}{quote}><c><v>1</v></c></row>",
            f"<row r{eq}{quote}{row}{quote}/><row><c r='{column}{row}' t='n'><v>1</v></c></row>",
            f"<x:row xmlns:x='{_MAIN}' r{eq}{quote}{row}{quote}><x:c r='{column}{row}'><x:v>1"
            "</x:v></x:c></x:row>",
            f"<row><c r='A1'><v>1</v></c><c r{eq}'{column}{row}'><v>2</v></c></row>",
        ]
    )
    part = rng.choice(
        ["xl/worksheets/sheet1.xml", "xl/worksheets/sheet1.dat", "xl/odd", "xl/a b/Ü.png",
         "XL/Worksheets/SHEET1.XML", "elsewhere/s.xml"]
    )  # fmt: skip
    target = {"elsewhere/s.xml": "/elsewhere/s.xml"}.get(part, part[3:])
    name = f"sheet far {part.rpartition('.')[2]}"
    return name, xlsx(data(sound_cells() + cell), part=part, target=target)


def sheet_dimension(rng: random.Random) -> tuple[str, bytes]:
    """A range that is said, and is not there."""
    said = rng.choice(
        ["A1:XFD1048576", "A1:ZZZZZZZ99999999999999", "B9:A1", "", "A1:A1:A1", "A0", "1", "A",
         "A1:XFD" + "9" * 5000]
    )  # fmt: skip
    return "sheet dimension", xlsx(f'<dimension ref="{said}"/>' + data(sound_cells()))


def sheet_strings(rng: random.Random) -> tuple[str, bytes]:
    """Long shared texts, used often."""
    long = rng.choice([1_000, 100_000, 1_000_000])
    times = rng.choice([1_000, 30_000])
    cells = "".join(f'<row><c t="s"><v>{rng.choice([0, 0, 1])}</v></c></row>' for _ in range(times))
    strings = f"<si><t>{'x' * long}</t></si><si><r><t>{'y' * long}</t></r></si>"
    return "sheet strings", xlsx(data(cells), strings=strings)


def sheet_bomb(rng: random.Random) -> tuple[str, bytes]:
    """A part that unpacks to much more than it is."""
    size = rng.choice([5, 40, 120]) * 1_000_000
    filler = rng.choice([" ", "<row/>", "<row><c/></row>", "<c/>", "<!--x-->"])
    return "sheet bomb", xlsx(data(sound_cells() + filler * (size // len(filler))))


def sheet_many(rng: random.Random) -> tuple[str, bytes]:
    """Very many sheets that share one part."""
    n = rng.choice([300, 20_000, 50_000])
    body = sound_cells() if rng.random() < 0.5 else "<row><c r='T5000'><v>1</v></c></row>" * 3
    return "sheet many", xlsx(data(body), entries=n)


def sheet_entities(rng: random.Random) -> tuple[str, bytes]:
    """Entities that contain one another, and files named by them."""
    held = xlsx(data(sound_cells()))
    with zipfile.ZipFile(io.BytesIO(held)) as archive:
        parts = {n: archive.read(n) for n in archive.namelist()}
    part = rng.choice(["xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels"])
    levels = "".join(f'<!ENTITY e{k + 1} "{f"&e{k};" * 10}">' for k in range(rng.choice([3, 12])))
    kind = (
        f'<!DOCTYPE x [<!ENTITY e0 "{SECRET[:4]}">{levels}<!ENTITY f SYSTEM "file:///etc/passwd">]>'
    )
    text = parts[part].replace(b"?>", b"?>" + kind.encode(), 1)
    text = text.replace(b"<v>", b"<v>&e3;", 1).replace(b'name="S0"', b'name="&f;"')
    return "sheet entities", zipped({**parts, part: text})


def sheet_relations(rng: random.Random) -> tuple[str, bytes]:
    """Targets that lead out of the archive, or round in a circle."""
    target = rng.choice(
        ["../../../../etc/passwd", "file:///etc/passwd", "http://127.0.0.1/a.xml", "workbook.xml",
         "_rels/workbook.xml.rels", "x" * 70_000, "\x7f", "..", "/", ""]
    ) or " "  # fmt: skip
    return "sheet relations", xlsx(data(sound_cells()), target=target)


def ods_repeats(rng: random.Random) -> tuple[str, bytes]:
    """Counts of repetition without bounds."""
    head = "<table:table-cell table:number-columns-repeated"
    eq = rng.choice(["=", " = "])
    down, across = (rng.choice([1, 400, 20_000, 1_048_576, 10**9, 10**15]) for _ in range(2))
    full = 'office:value-type="float" office:value="1.5"'
    inner = rng.choice(
        [
            f"{head}{eq}'{across}' {full}/>",
            f"{head}{eq}'{across}'/><table:table-cell {full}/>",
            f"<table:covered-table-cell table:number-columns-repeated{eq}'{across}' {full}/>",
            "<table:table-cell office:value-type='string'><text:p>a<text:s "
            f"text:c{eq}'{across * 1000}'/>b</text:p></table:table-cell>",
            "<table:table-cell table:number-columns-repeated='900' office:value-type='string'>"
            f"<text:p>{'long ' * 2000}</text:p></table:table-cell>",
        ]
    )
    row = f"<table:table-row table:number-rows-repeated{eq}'{down}'>{inner}</table:table-row>"
    times = rng.choice([1, 1, 40])
    return "ods repeats", ods(f'<table:table table:name="S">{row}</table:table>' * times)


def zip_bomb(rng: random.Random) -> tuple[str, bytes]:
    """Members without end, in number or in size; zips in zips."""
    kind = rng.randrange(4)
    if kind == 0:
        return "zip members", zipped({f"a{k}.txt": b"" for k in range(rng.choice([500, 20_000]))})
    if kind == 1:
        size = rng.choice([2, 30, 100]) * 1_000_000
        return "zip bomb", zipped({"a.txt": b"1;2;3\n" * (size // 6)})
    inner = zipped({"b.txt": record_text().encode()})
    if kind == 2:
        for _ in range(rng.choice([1, 20])):
            inner = zipped({"c.zip": inner})
        return "zip in zip", inner
    names = ("../../up.txt", "/etc/cron.txt", "C:\\x.txt", "a\nb.txt", "con.txt", "a" * 3000)
    return "zip names", zipped({n: record_text().encode() for n in names})


# --- text --------------------


def text_wide(rng: random.Random) -> tuple[str, bytes]:
    """A table of very many columns."""
    n = rng.choice([5_000, 100_000, 1_000_000])
    mark = rng.choice(";,\t| ")
    value = rng.choice(["1", "0.5", "x", "", '"'])
    head = mark.join(rng.choice(["Load (mN)", f"c{k % 97}"]) for k in range(n))
    lines = [mark.join([value] * n)] * rng.choice([2, 6])
    return "text wide", "\n".join([head, *lines]).encode()


def text_header(rng: random.Random) -> tuple[str, bytes]:
    """Header lines without end."""
    n = rng.choice([20_000, 1_000_000])
    line = rng.choice(
        [
            "Operator: X\n",
            "\n",
            "# note\n",
            "a;b;c\n",
            "Key = 12\n",
            "Time (s);Load (mN)\n",
            "[x]\n",
        ]
    )
    return "text header", (line * n + record_text()).encode()


def text_tests(rng: random.Random) -> tuple[str, bytes]:
    """Very many tests, each of few lines or none."""
    n = rng.choice([2_000, 20_000])
    one = rng.choice(
        [
            "Test {0}\n1;2;3\n\n",
            "Test {0}\n" + HEAD.format(";") + "\n0;0;0\n1;1;1\n\n",
            "\n\n{0};1;2\n",
        ]
    )
    return "text tests", (
        HEAD.format(";") + "\n" + "".join(one.format(k) for k in range(n))
    ).encode()


def text_line(rng: random.Random) -> tuple[str, bytes]:
    """One line that does not end, or marks that nest."""
    n = rng.choice([10_000, 2_000_000, 20_000_000])
    piece = rng.choice(["x", "(", '"', "1", "1;", "-", " ", "[", "1e", "é", "=", "\t", "a: "])
    before = rng.choice(["", record_text(), HEAD.format(";") + "\n"])
    return "text line", (before + piece * (n // len(piece)) + rng.choice(["", "\n"])).encode()


def text_number(rng: random.Random) -> tuple[str, bytes]:
    """Numbers that no machine has."""
    odd = rng.choice(
        ["7" * 5000, "1e999999999", "-1e-99999999", "0x" + "f" * 5000, "nan" * 1000,
         "1" + "," * 4000,
         "9" * 400 + "." + "9" * 400, "1_0", "١٢٣", "1e" + "9" * 5000]
    )  # fmt: skip
    lines = record_text().split("\n")
    for _ in range(rng.choice([1, 30])):
        k = rng.randrange(1, len(lines) - 1)
        cells = lines[k].split(";")
        cells[rng.randrange(len(cells))] = odd
        lines[k] = ";".join(cells)
    return "text number", "\n".join(lines).encode()


def text_bytes(rng: random.Random) -> tuple[str, bytes]:
    """Bytes of no text, of another kind's beginning, or of a packed text that unpacks far."""
    kind = rng.randrange(4)
    if kind == 0:
        return "gzip bomb", gzip.compress(b"1;2;3\n" * rng.choice([100_000, 20_000_000]))
    if kind == 1:
        head = rng.choice([b"PK\x03\x04", b"PAR1", b"\x89HDF\r\n\x1a\n", b"\xd0\xcf\x11\xe0"])
        return "text bytes", head + rng.randbytes(rng.choice([0, 10, 5000]))
    if kind == 2:
        return "text bytes", rng.randbytes(rng.choice([1, 300, 100_000]))
    bidi = "\u202e\u2066\u200f\ufeff\x00\x1b[31m=cmd()"
    return "text signs", record_text().replace("Load", f"Load{bidi}").encode("utf-8")


# --- HDF5, Parquet -----------


def hdf5_kind(rng: random.Random, path: Path, outside: Path) -> str:
    """Links that lead out, groups without end, shapes that claim much."""
    import h5py
    import numpy as np

    kind = rng.choice(["external", "soft", "storage", "virtual", "groups", "deep", "claim",
                       "circle", "attributes"])  # fmt: skip
    table = np.array(rows())
    with h5py.File(path, "w") as file:
        one = file.create_group("tests/a")
        for name, unit, values in zip(
            ("time", "force", "depth"), ("s", "mN", "nm"), table.T, strict=True
        ):
            one.create_dataset(name, data=values).attrs["unit"] = unit
        if kind == "external":
            file["tests/b"] = h5py.ExternalLink(str(outside / "secret.h5"), "/tests/a")
            one["more"] = h5py.ExternalLink("../outside/secret.h5", "/tests/a/force")
        elif kind == "soft":
            file["tests/b"] = h5py.SoftLink(rng.choice(["/tests", "/nothing", "b", "/tests/b/b"]))
        elif kind == "circle":
            one["up"] = file["tests"]
            one["all"] = file["/"]
        elif kind == "storage":
            one.create_dataset(
                "more",
                (len(table),),
                "f8",
                external=[(str(outside / "secret.raw"), 0, 8 * len(table))],
            )
        elif kind == "virtual":
            layout = h5py.VirtualLayout((len(table),), "f8")
            layout[:] = h5py.VirtualSource(
                str(outside / "secret.h5"), "tests/a/force", (len(table),)
            )
            one.create_virtual_dataset("more", layout)
        elif kind == "groups":
            n = rng.choice([300, 2_000, 20_000])
            for k in range(n):
                file.create_group(f"tests/g{k}")
            if n == 300:
                for k in range(n):
                    for name, values in zip(("time", "force", "depth"), table.T, strict=True):
                        file[f"tests/g{k}"].create_dataset(name, data=values)
        elif kind == "deep":
            here = file
            for _ in range(rng.choice([20, 2000])):
                here = here.create_group("a")
        elif kind == "claim":
            n = rng.choice([10**8, 10**12, 2**60])
            for name in ("time", "force", "depth"):
                file.create_dataset(f"tests/b/{name}", (n,), "f8", chunks=(1000,))
        else:
            for k in range(rng.choice([10, 3000])):
                one.attrs[f"k{k}"] = "x" * rng.choice([1, 2000]) if k % 2 else np.arange(50)
    return f"hdf5 {kind}"


def parquet_kind(rng: random.Random, path: Path) -> str:
    """Very many columns, nested ones, and rows that are all alike."""
    import polars as pl

    kind = rng.choice(["wide", "nested", "long", "cut"])
    if kind == "wide":
        n = rng.choice([500, 5_000])
        frame = pl.DataFrame({f"c{k}": [1.0, 2.0, 3.0] for k in range(n)})
    elif kind == "nested":
        inner: object = 1.0
        for _ in range(rng.choice([2, 30])):
            inner = [inner]
        frame = pl.DataFrame({"Load (mN)": [inner] * 3, "Depth (nm)": [1.0, 2.0, 3.0]})
    else:
        frame = pl.DataFrame({"Load (mN)": [1.0] * 2_000_000, "Depth (nm)": [2.0] * 2_000_000})
    frame.write_parquet(path)
    if kind == "cut":
        raw = bytearray(path.read_bytes())
        for _ in range(3):
            raw[rng.randrange(len(raw))] ^= 1 << rng.randrange(8)
        path.write_bytes(bytes(raw))
    return f"parquet {kind}"


# --- places ------------------


def place_kind(rng: random.Random, folder: Path, outside: Path) -> tuple[str, Path]:
    """Links, pipes, devices, folders and odd names."""
    kind = rng.choice(["link out", "link of link", "pipe", "device", "circle", "folder", "name"])
    path = folder / "p.csv"
    if kind == "link out":
        path.symlink_to(outside / rng.choice(["secret.csv", "secret.h5"]))
    elif kind == "link of link":
        (folder / "q").symlink_to(outside, target_is_directory=True)
        path = folder / "q" / "secret.csv"
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to(rng.choice(["/dev/zero", "/dev/random", "/dev/tty", "/dev/stdin"]))
    elif kind == "circle":
        path.symlink_to(path)
    elif kind == "folder":
        path.mkdir()
        (path / "a.csv").write_text(record_text(), encoding="utf-8")
        (path / "up").symlink_to(folder, target_is_directory=True)
        os.mkfifo(path / "pipe.csv")
    else:
        odd = ("two\nlines", "\u202ecsv.exe", "a" * 200, "-rf", "con", " ", "$(id)", "a!b", "x;y")
        name = rng.choice([*odd, "c\udce9"]) + ".csv"
        path = folder / name
        path.write_text(record_text(), encoding="utf-8")
    return f"place {kind}", path


# --- study files, JSON -------


def deep(rng: random.Random) -> tuple[str, bytes]:
    """A study file, or another text of ours, beyond its bounds."""
    n = rng.choice([60, 5_000, 100_000])
    inner = rng.choice(["[" * n + "]" * n, "{a=" * n + "1" + "}" * n, "7" * n, "0x" + "f" * n,
                        '"' + "x" * n + '"', "-" + "1" * n, "1e" + "9" * 300])  # fmt: skip
    key = rng.choice(["x", ".".join(["a"] * n), "seed", "uncertainty.monte_carlo_trials"])
    return "study file", f'drypoint = 1\n[study]\nname = "a"\n{key} = {inner}\n'.encode()


def huge(rng: random.Random) -> tuple[str, bytes]:
    """A study file with a wish for endless work."""
    number = rng.choice(["1000000000000", "1e300", "9223372036854775807", "1e-300", "-1e300"])
    line = rng.choice(
        ["uncertainty.monte_carlo_trials = {}", "series.depth_bins_nm = [1.0, {}]",
         "study.seed = {}", "stress.a = {{ force_mN = 5.0, cycles = {} }}",
         "stress.a = {{ depth_nm = {} }}", "dynamic.window_samples = {}",
         "flags.outlier_tests = {}", "scratch.most_candidates = {}", "scratch.stretches = {}"]
    ).format(number)  # fmt: skip
    text = (
        f'drypoint = 1\n{line}\nstudy.name = "a"\n[[records]]\nfiles = ["a.csv"]\nspecimen = "g"\n'
        '[specimens.g]\nnu = 0.2\nu_nu = 0.01\n[tips.B]\nshape = "Berkovich"\n'
    )
    return "study number", text.encode()


def decisions(rng: random.Random) -> tuple[str, bytes]:
    """Manual corrections beyond their bounds."""
    n = rng.choice([60, 5_000, 100_000])
    value = rng.choice(
        ["[" * n + "]" * n, '{"a":' * n + "1" + "}" * n, "7" * n, '"' + "x" * n + '"']
    )
    body = {
        "id": 1,
        "when": "2026-01-31T12:00:00Z",
        "who": "A",
        "what": "zero",
        "test": "t",
        "why": "w",
    }
    line = json.dumps(body)[:-1] + f', "value": {value}}}\n'
    return "corrections", (line * rng.choice([1, 1, 50])).encode()


KINDS: dict[str, Callable[[random.Random], tuple[str, bytes]]] = {
    "xlsx": sheet_far, "xlsx dimension": sheet_dimension, "xlsx strings": sheet_strings,
    "xlsx bomb": sheet_bomb, "xlsx many": sheet_many, "xlsx entities": sheet_entities,
    "xlsx relations": sheet_relations, "ods": ods_repeats, "zip": zip_bomb, "wide": text_wide,
    "header": text_header, "tests": text_tests, "line": text_line, "number": text_number,
    "bytes": text_bytes, "study": deep, "huge": huge, "decisions": decisions,
}  # fmt: skip
MORE = ("hdf5", "parquet", "place")


def outside_of(folder: Path) -> None:
    """Records that must never be read, in a folder of their own."""
    import h5py
    import numpy as np

    folder.mkdir()
    text = f"Operator: {SECRET}\n" + record_text(peak=SECRET_MN)
    (folder / "secret.csv").write_text(text, encoding="utf-8")
    table = np.array(rows(peak=SECRET_MN))
    (folder / "secret.raw").write_bytes(table[:, 1].tobytes())
    with h5py.File(folder / "secret.h5", "w") as file:
        for name, unit, values in zip(
            ("time", "force", "depth"), ("s", "mN", "nm"), table.T, strict=True
        ):
            file.create_dataset(f"tests/a/{name}", data=values).attrs["unit"] = unit


def make(rng: random.Random, folder: Path, outside: Path) -> tuple[str, Path]:
    """Write a file of a drawn kind into an empty folder: what it is, and its path."""
    kind = rng.choice([*KINDS, *MORE])
    if kind == "place":
        return place_kind(rng, folder, outside)
    if kind == "hdf5":
        path = folder / "f.h5"
        return hdf5_kind(rng, path, outside), path
    if kind == "parquet":
        path = folder / "f.parquet"
        return parquet_kind(rng, path), path
    name, raw = KINDS[kind](rng)
    ending = {"ods": "ods", "zip": "zip", "study": "toml", "huge": "toml", "decisions": "jsonl"}
    path = folder / f"f.{ending.get(kind, 'xlsx' if kind.startswith('xlsx') else 'txt')}"
    if kind == "decisions":
        path = folder / "f.decisions.jsonl"
    path.write_bytes(raw)
    return name, path
