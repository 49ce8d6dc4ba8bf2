"""The commands about people, as `benchledger` knows them: login, appoint, token."""

from typing import Annotated

import typer

from server.model.people import Role


def add_to(app: typer.Typer) -> None:
    """Let the command know them."""
    for one in (login, appoint, token):
        app.command()(one)


def login(
    server: Annotated[
        str, typer.Argument(envvar="BENCHLEDGER_SERVER", help="address of the service")
    ] = "http://127.0.0.1:8000",
) -> None:
    """Sign this machine in to a server, approved in the browser, for `send` and `record`."""
    from server.commands.login import login as run

    run(server)


def appoint(
    who: Annotated[str, typer.Argument(help="e-mail address, or name where only one has it")],
    role: Annotated[Role | None, typer.Option(help="tester, maintainer or administrator")] = None,
    vouch: Annotated[
        bool, typer.Option("--vouch", help="clean runs are published at once")
    ] = False,
) -> None:
    """Give an account a role or vouch for it; so the first administrator is made."""
    from server.commands.appoint import appoint as run
    from server.settings import Settings

    if role is None and not vouch:
        raise typer.BadParameter("give --role, --vouch or both")
    run(Settings(), who=who, role=role, vouch=vouch)


def token(
    tester: Annotated[str, typer.Argument(help="name of the tester, made if new")],
    days: Annotated[int, typer.Option(help="days until it expires")] = 90,
) -> None:
    """Make a token for a tester and print it, once."""
    from server.commands.token import token as run
    from server.settings import Settings

    run(Settings(), tester=tester, days=days)
