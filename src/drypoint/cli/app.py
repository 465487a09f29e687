"""The commands. Heavy rooms are imported inside a command, so that ``--help`` stays quick."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from drypoint.cli.keys import keys
from drypoint.cli.ledger import ledger

app = typer.Typer(
    name="drypoint",
    help="From raw indentation records to hardness and modulus that can be defended.",
    epilog="Exit codes: 0 done; 1 no result; 2 a mistake in what was given; 3 done, but some "
    "records were set aside. Values are no basis for safety-critical release without an "
    "accredited laboratory.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.add_typer(ledger, name="ledger")
app.add_typer(keys, name="key")

StudyArg = Annotated[Path, typer.Argument(help="The study file (TOML).", show_default=False)]


def _version(wanted: bool) -> None:
    if wanted:
        from drypoint.version import __version__

        print(f"drypoint {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


@app.command()
def new(
    study: StudyArg,
    files: Annotated[
        list[Path] | None,
        typer.Argument(help="Raw files to look at; the recipe then says how to read them."),
    ] = None,
    name: Annotated[str, typer.Option(help="Name of the study.")] = "",
    shape: Annotated[str, typer.Option(help="Shape of the tip.")] = "modified Berkovich",
) -> None:
    """Write a new study file, ready to be looked through and run.

    Files are one specimen if their names differ only in a number. Exit code 3: a file could not
    be read, or a question is open; both are listed."""
    from drypoint.cli.new import write_new

    raise typer.Exit(write_new(study, files or [], name or study.stem, shape))


@app.command()
def inspect(
    files: Annotated[list[Path], typer.Argument(help="Raw files.", show_default=False)],
    write: Annotated[
        Path | None,
        typer.Option("--write", help="Write what was understood as a starting study file."),
    ] = None,
    delimiter: Annotated[str | None, typer.Option(help="Column separator, if not found.")] = None,
    decimal: Annotated[str | None, typer.Option(help="Decimal mark, if not found.")] = None,
    encoding: Annotated[str | None, typer.Option(help="Encoding, if not found.")] = None,
    inside: Annotated[
        list[str] | None,
        typer.Option("--inside", help="Pattern of the sheets, members or groups to look at."),
    ] = None,
    answer: Annotated[
        list[str] | None,
        typer.Option("--answer", help="A line that settles a question, as it is shown."),
    ] = None,
    save_layout: Annotated[
        str | None,
        typer.Option("--save-layout", help="Keep the answers for files of this shape."),
    ] = None,
    brief: Annotated[bool, typer.Option("--brief", help="One line a file.")] = False,
) -> None:
    """Show what is understood of raw files and folders, and what is open. They are not changed."""
    from drypoint.cli.start import Given, show_files

    given = Given(
        write, delimiter, decimal, encoding, tuple(inside or ()), tuple(answer or ()), save_layout,
        brief,
    )  # fmt: skip
    raise typer.Exit(show_files(files, given))


@app.command()
def layouts(
    remove: Annotated[
        str | None, typer.Option("--remove", help="Name of the layout to forget.")
    ] = None,
) -> None:
    """Show the layouts that were saved with inspect, or remove one."""
    from drypoint.cli.start import show_layouts

    show_layouts(remove)


@app.command()
def run(
    study: StudyArg,
    out: Annotated[Path | None, typer.Option("--out", help="Folder for the results.")] = None,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Compute everything again; use nothing kept.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print the answer only.")] = False,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Say what would be computed and what is kept; do nothing."),
    ] = False,
) -> None:
    """Run a study: read, correct, reduce, and write tables and summary."""
    if dry_run:
        from drypoint.cli.plan import plan_command

        raise typer.Exit(plan_command(study, out, fresh))
    from drypoint.cli.work import run_command

    raise typer.Exit(run_command(study, out, fresh, quiet))


@app.command()
def report(
    study: StudyArg,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for report and figures.")
    ] = None,
    html: Annotated[bool, typer.Option("--html/--no-html", help="Write the page.")] = True,
    pdf: Annotated[bool, typer.Option("--pdf/--no-pdf", help="Write the PDF.")] = True,
    figures: Annotated[bool, typer.Option("--figures/--no-figures", help="Write figures.")] = True,
) -> None:
    """Write the report (one HTML file that works offline, and PDF) and the figures."""
    from drypoint.cli.work import report_command

    raise typer.Exit(report_command(study, out, html, pdf, figures))


@app.command()
def sign(
    study: StudyArg,
    who: Annotated[str, typer.Option("--who", help="Who signs.")],
    why: Annotated[
        str, typer.Option("--why", help="The remark; it stands in the report.")
    ] = "checked and approved",
    ledger: Annotated[
        str | None,
        typer.Option(
            "--ledger", help="The ledger: a file or URL; else DRYPOINT_LEDGER, else your own."
        ),
    ] = None,
    no_ledger: Annotated[
        bool, typer.Option("--no-ledger", help="Beside the study only; the ledger is not touched.")
    ] = False,
    meaning: Annotated[
        str, typer.Option("--as", help="What it means: author, review or approval.")
    ] = "approval",
    with_key: Annotated[
        bool, typer.Option("--key", help="Sign with your key; its passphrase is asked for.")
    ] = False,
    passphrase_file: Annotated[
        Path | None,
        typer.Option("--passphrase-file", help="With --key: file whose first line is it."),
    ] = None,
) -> None:
    """Sign the results of a study. Everything is computed again from the raw files; nothing is
    signed unless each file of the results comes out the same to the byte. Report, study file,
    manual corrections and hashes are kept, and any later change makes a new version."""
    from drypoint.cli.signing import sign_command

    raise typer.Exit(
        sign_command(study, who, why, ledger, no_ledger, meaning, with_key, passphrase_file)
    )


@app.command()
def check(
    study: StudyArg,
    ledger: Annotated[
        str | None,
        typer.Option("--ledger", help="Ask this ledger too: each signature must be in it."),
    ] = None,
    recompute: Annotated[
        bool,
        typer.Option(
            "--recompute", help="Derive every result again from the raw files, and compare."
        ),
    ] = False,
) -> None:
    """Check whether what was signed still holds: study file, manual corrections, raw files,
    results, report. Exit code 1 when it does not, or when nobody has signed."""
    from drypoint.cli.signing import check_command

    raise typer.Exit(check_command(study, ledger, recompute))


@app.command()
def calibrate(
    study: StudyArg,
    accept: Annotated[
        bool, typer.Option("--accept", help="Accept it: write the file that studies use.")
    ] = False,
    who: Annotated[str, typer.Option("--who", help="Who accepts it.")] = "",
    why: Annotated[str, typer.Option("--why", help="Why.")] = "looked at and accepted",
    despite: Annotated[
        str, typer.Option("--despite", help="The reason to accept it against serious findings.")
    ] = "",
    when: Annotated[
        str,
        typer.Option("--when", help="Time of acceptance, 2026-01-31T12:00:00Z; now if left out."),
    ] = "",
    ledger: Annotated[
        str | None,
        typer.Option(
            "--ledger", help="The ledger: a file or URL; else DRYPOINT_LEDGER, else your own."
        ),
    ] = None,
    no_ledger: Annotated[
        bool, typer.Option("--no-ledger", help="Write the file only; the ledger is not touched.")
    ] = False,
    out: Annotated[Path | None, typer.Option("--out", help="Folder for the report.")] = None,
    report: Annotated[
        bool, typer.Option("--report/--no-report", help="Write the calibration report.")
    ] = True,
) -> None:
    """Find tip and frame from reference materials, and verify them on certified blocks. Nothing
    is registered until it is accepted."""
    from drypoint.cli.calibrate import Wish, calibrate_command

    wish = Wish(accept, who, why, despite, when, ledger, no_ledger, out, report)
    raise typer.Exit(calibrate_command(study, wish))


@app.command()
def stress(
    study: Annotated[
        Path | None,
        typer.Argument(
            help="A study file with tables [stress.NAME]; options else.", show_default=False
        ),
    ] = None,
    names: Annotated[
        list[str] | None, typer.Argument(help="Names of runs; all where left out.")
    ] = None,
    tip: Annotated[
        str | None,
        typer.Option(
            "--tip", metavar="SHAPE", help="Shape of the tip; without a study: modified Berkovich."
        ),
    ] = None,
    angle_deg: Annotated[
        float | None, typer.Option("--angle-deg", help="Angle between axis and face or side.")
    ] = None,
    radius_nm: Annotated[
        float | None,
        typer.Option("--radius-nm", help="Radius of a sphere or punch, or of a blunt end."),
    ] = None,
    tip_from: Annotated[
        str | None,
        typer.Option(
            "--tip-from",
            metavar="NAME|FILE",
            help="Measured tip: a bench or tip of the study, a calibration file, or a TOML file "
            "with the keys of one tip.",
        ),
    ] = None,
    rigid: Annotated[
        bool | None,
        typer.Option("--rigid/--no-rigid", help="A rigid tip, or one with its elastic constants."),
    ] = None,
    solid: Annotated[
        str | None,
        typer.Option(
            "--solid",
            help="Specimen or substrate: “E_GPa = 170, nu = 0.22, "
            "hardness_GPa = 12”; keys as in a study file.",
        ),
    ] = None,
    layer: Annotated[
        list[str] | None,
        typer.Option(
            "--layer",
            help="A layer, with thickness_nm; repeat for more, the uppermost first. Replaces all "
            "layers of a run.",
        ),
    ] = None,
    force_mN: Annotated[float | None, typer.Option("--force-mN", help="Maximum force.")] = None,
    depth_nm: Annotated[float | None, typer.Option("--depth-nm", help="Maximum depth.")] = None,
    cycles: Annotated[
        int | None, typer.Option("--cycles", help="Number of load cycles; without a study: 1.")
    ] = None,
    friction: Annotated[
        float | None,
        typer.Option("--friction", help="Coefficient of friction; without a study: 0."),
    ] = None,
    quality: Annotated[
        str | None, typer.Option("--quality", help="quick or fine; without a study: quick.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for tables, figures and fields; none where left out."),
    ] = None,
    vtu: Annotated[
        str | None,
        typer.Option("--vtu", help="Fields as VTU files in --out: none, peak, or every step."),
    ] = None,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Compute everything again; use nothing kept.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress.")] = False,
    csv_text: Annotated[
        Literal["safe", "verbatim"] | None,
        typer.Option(
            "--csv-text",
            help="Text cells that begin like a formula: with an apostrophe in front, or as they "
            "are. Default: as the study says, else safe.",
        ),
    ] = None,
) -> None:
    """Show what a test does below the surface: yield, stresses, what the instrument would see. By
    finite elements, for a study's runs or for tip, solids and load given as options.

    With a study, an option replaces that key of every run that is solved; --solid and --layer
    replace the whole substrate and all layers. The study file is not changed."""
    from drypoint.cli.stress import options_command, study_command
    from drypoint.cli.stress_options import Options, vtu_choice

    which = vtu_choice(vtu, out)
    given = Options(
        tip, angle_deg, radius_nm, tip_from, rigid, solid, tuple(layer or ()), force_mN, depth_nm,
        cycles, friction, quality,
    )  # fmt: skip
    if study is not None:
        raise typer.Exit(
            study_command(study, names or [], given, which, out, fresh, quiet, csv_text)
        )
    raise typer.Exit(options_command(given, which or "none", out, fresh, quiet, csv_text))


@app.command()
def rerun(
    study: StudyArg,
    changes: Annotated[
        list[str] | None,
        typer.Option("--with", help="A change, KEY=VALUE: analysis.beta=1.05, tip=tips/b2.toml."),
    ] = None,
    recipe: Annotated[
        Path | None, typer.Option("--recipe", help="Another study file to compare with.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Write the table here (CSV).")] = None,
    csv_text: Annotated[
        Literal["safe", "verbatim"] | None,
        typer.Option(
            "--csv-text",
            help="Text cells that begin like a formula: with an apostrophe in front, or as they "
            "are. Default: as the study says, else safe.",
        ),
    ] = None,
) -> None:
    """Show each reported value before and after a change, and which change moved it. The study,
    its results and its decisions stay as they are."""
    from drypoint.cli.work import rerun_command

    raise typer.Exit(rerun_command(study, changes or [], recipe, out, csv_text))


@app.command()
def exclude(
    study: StudyArg,
    test: Annotated[str, typer.Argument(help="Name of the test.", show_default=False)],
    why: Annotated[str, typer.Option("--why", help="The reason; it stands in the report.")],
    who: Annotated[str, typer.Option("--who", help="Who decided.")],
    cycle: Annotated[int | None, typer.Option(help="One cycle only.")] = None,
) -> None:
    """Leave a test out of the means, with a reason. Nothing is computed again, nothing deleted."""
    from drypoint.cli.work import decide_command

    raise typer.Exit(decide_command(study, "exclude", test, why, who, cycle))


@app.command()
def include(
    study: StudyArg,
    test: Annotated[str, typer.Argument(help="Name of the test.", show_default=False)],
    why: Annotated[str, typer.Option("--why", help="The reason; it stands in the report.")],
    who: Annotated[str, typer.Option("--who", help="Who decided.")],
    cycle: Annotated[int | None, typer.Option(help="One cycle only.")] = None,
) -> None:
    """Take an exclusion back, with a reason. Both entries stay in the decisions file."""
    from drypoint.cli.work import decide_command

    raise typer.Exit(decide_command(study, "include", test, why, who, cycle))


@app.command("critical-load")
def critical_load(
    study: StudyArg,
    track: Annotated[str, typer.Argument(help="Name of the track.", show_default=False)],
    verdict: Annotated[
        str,
        typer.Argument(
            help="confirm (the candidate is the event), move (it is at another load), reject (the "
            "candidate is nothing), absent (not up to the largest load).",
            show_default=False,
        ),
    ],
    why: Annotated[str, typer.Option("--why", help="The reason; it stands in the report.")],
    who: Annotated[str, typer.Option("--who", help="Who decided.")],
    event: Annotated[
        str | None, typer.Option("--event", help="Name of the critical load in scratch.events.")
    ] = None,
    candidate_mN: Annotated[
        float | None, typer.Option("--candidate-mN", help="Load of the candidate that is meant.")
    ] = None,
    load_mN: Annotated[
        float | None, typer.Option("--load-mN", help="With move: where it was seen.")
    ] = None,
    low_mN: Annotated[
        float | None, typer.Option("--low-mN", help="With move: the lowest load it may be.")
    ] = None,
    high_mN: Annotated[
        float | None, typer.Option("--high-mN", help="With move: the highest load it may be.")
    ] = None,
) -> None:
    """Confirm, move or reject a candidate for a critical load of a scratch track, with a reason.
    No track is worked up again."""
    from drypoint.cli.tracks import Said, critical_load_command

    said = Said(verdict, event, candidate_mN, load_mN, low_mN, high_mN)
    raise typer.Exit(critical_load_command(study, track, said, why, who))


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="An empty or new folder.", show_default=False)],
    seed: Annotated[int, typer.Option(help="Seed of all that is drawn.")] = 7,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace an earlier demo in that folder.")
    ] = False,
) -> None:
    """Write an invented study (glass, film, steel) whose truth is known."""
    from drypoint.simulation.demo import make_demo

    path = make_demo(folder, seed, overwrite=overwrite)
    print(f"Written: {path} (all records are invented)")
    print(f"Next: drypoint calibrate {path.parent / 'bench' / 'bench.toml'} --accept --who NAME")
    print(f"Then: drypoint run {path}")


@app.command()
def schema(
    folder: Annotated[Path, typer.Argument(help="Folder to write into.")] = Path(),
) -> None:
    """Write the JSON Schema of the study file, for editors that check TOML."""
    from drypoint.recipe import write_schema

    print(f"Written: {write_schema(folder)}")


@app.command()
def serve(
    what: Annotated[
        Path, typer.Argument(help="A study file, or a folder of studies.", metavar="STUDY|FOLDER")
    ] = Path(),
    port: Annotated[
        int | None, typer.Option("--port", help="Port; 8017, or a free one, if left out.")
    ] = None,
    host: Annotated[
        str,
        typer.Option(
            "--host", help="Address to listen on, so that other machines come in with a password."
        ),
    ] = "",
    name: Annotated[
        list[str] | None,
        typer.Option(
            "--name", help="With --host or --proxy: a further name by which others reach it."
        ),
    ] = None,
    proxy: Annotated[
        list[str] | None,
        typer.Option(
            "--proxy",
            metavar="ADDRESS",
            help="Address of a reverse proxy that encrypts; its X-Forwarded-Proto and "
            "X-Forwarded-For are taken, those of others ignored.",
        ),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
) -> None:
    """Open the workbench: pages in the browser, for this machine only unless told otherwise. With
    --host or --proxy the password is DRYPOINT_PASSWORD, or is asked for."""
    from drypoint.cli.serving import serve_command

    serve_command(what, port, host, tuple(name or ()), browser, tuple(proxy or ()))
