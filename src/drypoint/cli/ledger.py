"""The commands ``drypoint ledger ...``. The ledger itself is loaded inside a command."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from drypoint.ledger import Body, Draft, Entry, Head, Ledger

ledger = typer.Typer(
    help="The lab's memory: tips, frames, certificates, calibrations, verifications, studies and "
    "signatures. Entries are added, never changed.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Number = Annotated[int, typer.Argument(help="Number of the entry.", show_default=False)]
Who = Annotated[str, typer.Option("--who", help="Who says so.")]
Where = Annotated[
    str | None,
    typer.Option(
        "--ledger",
        help="The ledger: a file, or a URL such as postgresql://user@server/database. Left out: "
        "what DRYPOINT_LEDGER says, else your own.",
        show_default=False,
    ),
]


def _open(where: str | None, create: bool = False) -> Ledger:
    from drypoint.ledger import Ledger

    return Ledger.open(where, create=create)


@ledger.command("list")
def list_(
    kind: Annotated[str | None, typer.Option(help="One kind only, for example tip.")] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Also what was corrected or withdrawn.")
    ] = False,
    where: Where = None,
) -> None:
    """List what holds now, corrections applied."""
    from drypoint.ledger import KINDS, Body

    kinds = [kind] if kind is not None else list(KINDS)
    if kind is not None and kind not in KINDS:
        from drypoint.errors import LedgerError

        raise LedgerError(f"There is no kind “{kind}”.", remedy="Kinds: " + ", ".join(KINDS) + ".")
    book = _open(where)
    entries = book.entries() if everything else book.current(Body)
    _print_list([e for e in entries if e.kind in kinds])


@ledger.command()
def show(number: Number, where: Where = None) -> None:
    """Show one entry, whole, with what stood before or stands now in its place."""
    book = _open(where)
    line = book.versions(number)
    entry = next(e for e in line if e.id == number)
    print(f"Entry {entry.id}: {entry.kind} {entry.name}")
    print(f"  written             {entry.when} by {entry.who}: {entry.why}")
    print(f"  hash                {entry.hash}")
    for key, value in entry.body.model_dump(mode="json").items():
        if key != "text" and value not in (None, "", []):
            print(f"  {key:<19} {_shown(key, value, entry.body)}")
    for other in line:
        if other.id != number:
            relation = "stood before it" if other.id < number else "stands in its place"
            print(f"  entry {other.id} ({other.kind}, {other.when}, {other.who}) {relation}")
    for s in book.signatures(entry=number):
        if s.entry is not None and s.entry.id == number:
            b = s.signature.body
            print(f"  signed              {s.signature.when} by {s.signature.who}: {b.meaning}")
    text = getattr(entry.body, "text", "")
    if text:
        print()
        print(text.rstrip("\n"))


@ledger.command()
def history(
    name: Annotated[
        str, typer.Argument(help="Name of a tip, frame, block or study; or a SHA-256.")
    ],
    where: Where = None,
) -> None:
    """List all that was ever entered about a thing."""
    entries = _open(where).history(name)
    if not entries:
        from drypoint.errors import LedgerError

        raise LedgerError(f"Nothing in the ledger names “{name}”.", remedy="Look at the list.")
    _print_list(entries)


@ledger.command()
def check(
    head: Annotated[
        str | None,
        typer.Option("--head", help="An earlier state, NUMBER:HASH, as this command prints it."),
    ] = None,
    where: Where = None,
) -> None:
    """Check that no entry was changed or removed behind the ledger's back. Exit code 1 if so."""
    book = _open(where)
    found = book.verify(_head(head) if head is not None else None)
    for one in found:
        print(one)
    now = book.head()
    if found:
        print(f"{len(found)} breaks in {now.id} entries. Put the ledger back from a copy.")
        raise typer.Exit(1)
    print(f"{now.id} entries, the chain holds. State: {now}")


@ledger.command()
def export(
    file: Annotated[Path, typer.Argument(help="File to write (JSON Lines).", show_default=False)],
    where: Where = None,
) -> None:
    """Write the whole ledger as JSON Lines, for an archive or another database."""
    head = _open(where).export_to(file)
    print(f"Written: {file} ({head.id} entries)")
    print(f"State: {head}")


@ledger.command("import")
def import_(
    file: Annotated[Path, typer.Argument(help="An export.", show_default=False)],
    where: Where = None,
) -> None:
    """Take an export into a new ledger, or into the ledger that it goes on from."""
    book = _open(where, create=True)
    print(f"{book.import_from(file)} entries are new in {book.place}.")
    _note_names(book)


@ledger.command()
def backup(
    file: Annotated[Path, typer.Argument(help="File to write (JSON Lines).", show_default=False)],
    where: Where = None,
) -> None:
    """Write a backup of the whole ledger, read it again and compare it."""
    head = _open(where).back_up_to(file)
    print(f"Backup: {file} ({head.id} entries), read again and compared.")
    print(f"State: {head}. Keep it apart from the backup: it shows whether entries were cut off.")


@ledger.command()
def restore(
    file: Annotated[Path, typer.Argument(help="A backup or export.", show_default=False)],
    aside: Annotated[
        bool,
        typer.Option("--aside", help="Move a ledger that is there aside; it is never removed."),
    ] = False,
    where: Where = None,
) -> None:
    """Restore a ledger from a backup. The backup is checked whole before anything is changed."""
    from drypoint.ledger.restore import restore_ledger

    done = restore_ledger(file, where, aside=aside)
    if done.aside is not None:
        print(f"The ledger that was there is now {done.aside}.")
    print(f"{done.head.id} entries restored to {done.place}. State: {done.head}")
    _note_names(_open(where))


def _note_names(book: Ledger) -> None:
    """Say which names came in that would be refused in a new entry."""
    from drypoint.ledger.naming import doubtful_names

    for what in doubtful_names(book):
        print(f"Note: {what} The entries stand as they are.")


@ledger.command()
def remark(
    about: Annotated[
        str, typer.Argument(help="Number of an entry, or a name.", show_default=False)
    ],
    text: Annotated[str, typer.Argument(help="What is to be remembered.", show_default=False)],
    who: Who,
    where: Where = None,
) -> None:
    """Add a remark on an entry or a thing."""
    from drypoint.ledger import RemarkBody

    book = _open(where, create=True)
    number = int(about) if about.isdecimal() and about.isascii() else None
    name = about if number is None else book.entry(number).name
    _accept(book, book.propose(RemarkBody(about=name, entry=number, text=text)), who, "remark")


@ledger.command()
def sign(
    number: Number,
    who: Who,
    meaning: Annotated[str, typer.Option(help="What the signature means.")] = "approved",
    text: Annotated[str, typer.Option("--remark", help="A remark beside it.")] = "",
    where: Where = None,
) -> None:
    """Sign an entry as it stands. Names are taken as given; nobody is asked for a password."""
    book = _open(where)
    _accept(book, book.sign(number, meaning, text), who, meaning)


@ledger.command("add-study")
def add_study(
    study: Annotated[Path, typer.Argument(help="The study file (TOML).", show_default=False)],
    who: Who,
    why: Annotated[str, typer.Option("--why", help="Why it is entered.")] = "released",
    where: Where = None,
) -> None:
    """Run a study and enter it: hashes of recipe, decisions and results, tips and frames used."""
    from datetime import UTC, datetime

    from drypoint.ledger import CalibrationBody
    from drypoint.notices import with_origin
    from drypoint.run import run_study
    from drypoint.run.remembering import study_body

    result = run_study(study)
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    book = _open(where, create=True)
    body = study_body(result, now)
    for used in body.used:
        if used.calibration is not None and not book.current(
            CalibrationBody, calibration=used.calibration
        ):
            print(
                f"Note: the calibration of tip {used.tip} that the study used (SHA-256 "
                f"{used.calibration[:12]}…) is not in this ledger: it was accepted elsewhere, or "
                "its file was changed since."
            )
    _accept(book, book.propose(body), who, with_origin(why, result.invented))


@ledger.command()
def health(
    tip: Annotated[str, typer.Argument(help="Name of the tip.", show_default=False)],
    depth: Annotated[
        float | None, typer.Option("--depth", help="Contact depth of the readings in nm.")
    ] = None,
    figure: Annotated[
        Path | None, typer.Option("--figure", help="Write the control charts here (SVG or PNG).")
    ] = None,
    where: Where = None,
) -> None:
    """Control charts of a tip's area over time: has it changed, when, and which studies used it
    since it was last known to be good. Exit code 1 when it has changed."""
    from drypoint.run.remembering import health_of

    book = _open(where)
    chosen = None if depth is None else depth * 1e-9
    found, since = health_of(book, tip, depth=chosen)
    for point in found.points:
        print(f"{point.day.isoformat()}  {point.value * 1e12:.4g} µm²")
    print(f"Tip {tip}: {found.state}.")
    for finding in found.findings:
        print(finding)
    for chart in (found.shewhart, found.ewma):
        for signal in chart.signals:
            print(f"{found.points[signal.at].day.isoformat()}: {signal.rule}")
    good = since.good
    print("Last good verification: " + (good.body.on if good is not None else "none"))
    for s in since.studies:
        print(f"Used since: {s.name} ({s.body.measured_to or s.body.on})")
    if figure is not None:
        from drypoint.figures import health_charts
        from drypoint.store import atomic_write

        at = f"Area at {book.health(tip, depth=chosen).depth * 1e9:.4g} nm"
        picture = health_charts(found, what=at, unit="µm²", factor=1e12, name=tip)
        png = figure.suffix.lower() == ".png"
        atomic_write(figure, picture.png() if png else picture.svg().encode("utf-8"))
        print(f"Written: {figure}")
    if found.state == "changed":
        raise typer.Exit(1)


def _shown(key: str, value: object, body: Body) -> str:
    """A value in few digits; a certified one with its unit; what a study used in words."""
    if isinstance(value, float):
        unit = ""
        if key in ("value", "U"):
            from drypoint.calibration.direct import KINDS

            unit = KINDS.get(str(getattr(body, "quantity", "")), "Pa")
        return f"{value:.6g} {unit}".strip()
    if key == "used" and isinstance(value, list):
        return "; ".join(
            f"{u['tip']} in {u['frame']}"
            + (f", calibration {u['calibration']}" if u.get("calibration") else "")
            for u in value
        )
    return str(value)


def _accept(book: Ledger, draft: Draft[Body], who: str, why: str) -> None:
    entry = book.accept(draft, who, why)
    print(f"Entry {entry.id} written to {book.place}.")


def _head(text: str) -> Head:
    from drypoint.errors import LedgerError
    from drypoint.ledger import Head

    number, _, found = text.partition(":")
    if not number.isdecimal() or not found:
        raise LedgerError(
            f"“{text}” is no state of a ledger.", remedy="It is printed by drypoint ledger check."
        )
    return Head("", int(number), found)


def _print_list(entries: list[Entry[Body]] | tuple[Entry[Body], ...]) -> None:
    if not entries:
        print("No entries.")
        return
    rows = [["entry", "kind", "name", "on", "written", "by", ""]]
    for e in entries:
        more = [] if e.corrects is None else [f"in place of {e.corrects}"]
        verdict = getattr(e.body, "verdict", None)
        if verdict is not None:
            block = getattr(e.body, "block", None)
            more.insert(0, verdict if block is None else f"{verdict} on {block}")
        day = getattr(e.body, "on", getattr(e.body, "issued", ""))
        rows.append([str(e.id), e.kind, e.name, day, e.when, e.who, ", ".join(more)])
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        cells = [cell.ljust(w) for cell, w in zip(row, widths, strict=True)]
        print("  ".join(cells).rstrip())
