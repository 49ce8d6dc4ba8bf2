"""The `benchledger` command: names, options and exit codes. The work is in `server/commands/`.

Exit codes: 0 done (findings included), 1 refused, not reachable or not sound, 2 a file that can't
be used.
"""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from server.commands import of_people
from server.errors import BenchledgerError, Unusable

if TYPE_CHECKING:
    from server.settings import Settings

# Before numpy is loaded: small matrices gain nothing from threads, and figures rebuild to the
# last digit only with one.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Bench tests of mains-powered motor appliances: reduce, store, compare.",
)

LogFile = Annotated[Path, typer.Argument(help="the log, as the logger wrote it")]
BenchFile = Annotated[
    Path | None, typer.Option("--bench", help="TOML file that describes plate, rig and claims")
]
ServerAddress = Annotated[
    str, typer.Option(envvar="BENCHLEDGER_SERVER", help="address of the service")
]
OwnToken = Annotated[
    str | None, typer.Option(envvar="BENCHLEDGER_TOKEN", help="else what `login` kept")
]
SpoolFolder = Annotated[Path | None, typer.Option(help="else XDG_STATE_HOME/benchledger")]
Patience = Annotated[float, typer.Option(min=0, help="seconds to keep trying")]
Consent = Annotated[
    bool, typer.Option("--consent", help="agree that what you send is published, CC BY 4.0")
]
Ties = Annotated[list[str] | None, typer.Option(help="a maker you have ties with; repeat it")]


@app.command()
def serve(
    port: Annotated[int | None, typer.Option(help="else BENCHLEDGER_PORT, else 8000")] = None,
    host: Annotated[str | None, typer.Option(help="else BENCHLEDGER_HOST, else 127.0.0.1")] = None,
) -> None:
    """Serve the pages and the API, with one worker."""
    from server.commands.serve import serve as run

    run(_settings(port=port, host=host))


@app.command()
def demo(port: Annotated[int | None, typer.Option()] = None) -> None:
    """Load the demonstration data if it is not there yet, then serve."""
    from server.commands.demo import demo as run

    run(_settings(port=port))


@app.command()
def reduce(
    log: LogFile,
    bench: BenchFile = None,
    json: Annotated[bool, typer.Option("--json", help="one JSON object, SI")] = False,
    svg: Annotated[Path | None, typer.Option(help="write the picture to this file")] = None,
    curve: Annotated[
        Path | None, typer.Option(help="a run in use: log of a brake run to place it on")
    ] = None,
    curve_bench: Annotated[Path | None, typer.Option(help="that brake run's bench file")] = None,
) -> None:
    """Turn a log into figures here, without a server."""
    from server.commands.reduce import reduce as run

    run(log, bench=bench, as_json=json, svg=svg, curve=curve, curve_bench=curve_bench)


@app.command()
def pool(
    results: Annotated[
        Path, typer.Argument(help="CSV: tester,value,standard_uncertainty or tester,value")
    ],
    json: Annotated[bool, typer.Option("--json", help="one JSON object")] = False,
) -> None:
    """Pool several testers' results of one quantity and say how well they agree."""
    from server.commands.pool import pool as run

    run(results, as_json=json)


@app.command()
def send(
    paths: Annotated[
        list[Path] | None, typer.Argument(help="logs, and folders of logs with bench files")
    ] = None,
    bench: BenchFile = None,
    server: ServerAddress = "http://127.0.0.1:8000",
    token: OwnToken = None,
    json: Annotated[bool, typer.Option("--json", help="print the server's answer")] = False,
    later: Annotated[bool, typer.Option("--later", help="only put it into the spool")] = False,
    waiting: Annotated[bool, typer.Option("--waiting", help="send what waits, list it")] = False,
    spool: SpoolFolder = None,
    patience: Patience = 30.0,
    consent: Consent = False,
    tie: Ties = None,
) -> None:
    """Send logs to a server and print their figures; what can't be sent now waits in a spool."""
    from server.commands import send as command

    told = command.Sending(
        server=server,
        token=token,
        spool=spool,
        patience_s=patience,
        consent=consent,
        ties=tuple(tie or ()),
        as_json=json,
        is_later=later,
        is_waiting=waiting,
    )
    command.send(paths or [], bench=bench, told=told)


@app.command()
def record(
    out: Annotated[Path, typer.Option(help="the file to write; there must be none yet")],
    bench: BenchFile = None,
    port: Annotated[str | None, typer.Option(help="serial port; else standard input")] = None,
    baud: Annotated[int, typer.Option(min=50, help="its speed")] = 9600,
    header: Annotated[
        str | None, typer.Option(help="the columns' names, where the logger prints none")
    ] = None,
    send: Annotated[bool, typer.Option("--send", help="send it at the end")] = False,
    watch: Annotated[
        bool, typer.Option("--watch", help="let others watch at an address nobody can guess")
    ] = False,
    title: Annotated[str | None, typer.Option(help="what the watchers read on top")] = None,
    server: ServerAddress = "http://127.0.0.1:8000",
    token: OwnToken = None,
    spool: SpoolFolder = None,
    patience: Patience = 30.0,
    consent: Consent = False,
    tie: Ties = None,
) -> None:
    """Record a logger's lines during the test, with figures beside them; lose none."""
    from server.commands.record import Recording
    from server.commands.record import record as run
    from server.commands.send import Sending

    told = Recording(
        out=out,
        bench=bench,
        port=port,
        baud=baud,
        header=header,
        is_sent=send,
        is_watched=watch,
        title=title,
    )
    sending = Sending(
        server=server,
        token=token,
        spool=spool,
        patience_s=patience,
        consent=consent,
        ties=tuple(tie or ()),
    )
    run(told, sending=sending)


@app.command()
def recompute(
    runs: Annotated[list[str] | None, typer.Argument(help="run ids; none: all")] = None,
    stale: Annotated[bool, typer.Option("--stale", help="only where the method changed")] = False,
    compare: Annotated[
        bool, typer.Option("--compare", help="only say which published figures would move")
    ] = False,
    json: Annotated[
        bool, typer.Option("--json", help="with --compare: one JSON object, SI")
    ] = False,
) -> None:
    """Rebuild figures from the stored recordings, publish them and say what changed."""
    from server.commands import recompute as command

    if compare:
        command.compare(_settings(), run_ids=runs or [], only_stale=stale, as_json=json)
        return
    if json:
        raise typer.BadParameter("--json goes with --compare")
    command.recompute(_settings(), run_ids=runs or [], only_stale=stale)


@app.command()
def migrate() -> None:
    """Bring the database to this version's tables."""
    from server.store.database import migrate as run

    run(_settings())
    typer.echo("The database is up to date.")


@app.command()
def verify(
    head: Annotated[
        list[str] | None,
        typer.Option("--head", help="a head of the journal that was kept: a file, or its text"),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="one JSON object")] = False,
) -> None:
    """Check journal, heads, rows and every stored file; exit 1 with each fault."""
    from server.commands.verify import verify as run

    if not run(_settings(), heads=head or [], as_json=json):
        raise typer.Exit(1)


@app.command()
def backup(target: Annotated[Path, typer.Argument(help="the archive to write")]) -> None:
    """Write database, files and keys into one archive."""
    from server.actions.backup import backup as run

    run(_settings(), target)
    typer.echo(f"Written: {target}")


@app.command()
def restore(
    source: Annotated[Path, typer.Argument(help="an archive written by backup")],
    replace: Annotated[bool, typer.Option("--replace", help="overwrite what is there")] = False,
) -> None:
    """Read back an archive of database, files and keys."""
    from server.actions.restore import restore as run

    run(_settings(), source, replace=replace)
    typer.echo(f"Restored from {source}")


of_people.add_to(app)


def _settings(port: int | None = None, host: str | None = None) -> "Settings":
    """Settings from the environment; what was given on the command line goes before."""
    from server.settings import Settings

    given: dict[str, Any] = {"port": port, "host": host}
    return Settings(**{name: value for name, value in given.items() if value is not None})


def main() -> None:
    """Entry point: refusals become one readable line and an exit code, never a traceback."""
    try:
        app()
    except Unusable as refusal:
        for problem in refusal.problems:
            sys.stderr.write(f"{refusal.name}: {problem}\n")
        sys.exit(2)
    except BenchledgerError as refusal:
        sys.stderr.write(f"{refusal}\n")
        sys.exit(1)
    except ValueError as refusal:
        told = _wrong_settings(refusal)
        if told is None:
            raise
        sys.stderr.write(told)
        sys.exit(2)


def _wrong_settings(refusal: ValueError) -> str | None:
    """A line for each setting that can't be used; None where something else was refused."""
    from pydantic import ValidationError

    if not isinstance(refusal, ValidationError) or refusal.title != "Settings":
        return None
    lines = []
    for error in refusal.errors():
        name = "".join(f"BENCHLEDGER_{part}".upper() for part in error["loc"][:1])
        message = error["msg"].removeprefix("Value error, ")
        lines.append(f"{name}: “{error['input']}”: {message}.\n" if name else f"{message}.\n")
    return "".join(lines)


if __name__ == "__main__":
    main()
