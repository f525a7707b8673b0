"""`handsfree desk` and its commands, one thin function each. Everything heavy is imported where it is used."""

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(help="Serve the supervisor's desk. Every visit as pages, on this machine.", invoke_without_command=True)

StoreFolder = Annotated[Path, typer.Option("--visits", help="Folder of the visits.")]
PeopleDatabase = Annotated[
    str | None, typer.Option("--people", help="Database of people, if it is not beside the visits.")
]

AsTheDesk = Annotated[str | None, typer.Option(help="The same as the desk was started with.")]
AsReviewed = Annotated[int, typer.Option(min=0, max=100_000, help="The same as the desk was started with.")]


@app.callback()
def desk(
    context: typer.Context,
    visits: StoreFolder = Path("visits"),
    database: Annotated[str | None, typer.Option(help="postgresql://…, if it is not SQLite beside the visits.")] = None,
    people: PeopleDatabase = None,
    sound: Annotated[str | None, typer.Option(help="s3://… or a folder for sound and attachments.")] = None,
    host: Annotated[str, typer.Option(help="Address to serve. Any but this machine needs TLS and accounts.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port to serve on.")] = 8642,
    certificate: Annotated[Path | None, typer.Option(help="TLS certificate.")] = None,
    key: Annotated[Path | None, typer.Option(help="Its key.")] = None,
    origin: Annotated[str | None, typer.Option(help="The address browsers use, if it differs from --host.")] = None,
    signed_only: Annotated[bool, typer.Option("--signed-only", help="Take only visits signed by a known device.")] = False,
    review: Annotated[int, typer.Option(min=0, max=100_000, help="Pick one in this many good visits for review.")] = 0,
    second_factor: Annotated[
        list[str] | None, typer.Option(help="A role that must have a second factor; may be given several times.")
    ] = None,
    sign_on: Annotated[str, typer.Option(help="OpenID Connect issuer that people may sign in with.")] = "",
    sign_on_client: Annotated[str, typer.Option(help="This desk's client name at the issuer.")] = "",
    sign_on_secret: Annotated[Path | None, typer.Option(help="File with the secret from the issuer.")] = None,
    processes: Annotated[int, typer.Option(min=1, max=32, help="How many processes answer; several need PostgreSQL.")] = 1,
) -> None:
    """Serve the desk until interrupted. Its database is made from the visit folders and can be deleted at any time."""
    if context.invoked_subcommand is None:
        from handsfree.desk import commands
        from handsfree.desk.serve import DeskOptions

        commands.desk(DeskOptions(
            visits, database, people, sound, host, port, certificate, key, origin, signed_only, sign_on, sign_on_client,
            sign_on_secret, review, tuple(second_factor or ()), processes=processes,
        ))  # fmt: skip


@app.command("people-add")
def people_add(
    name: Annotated[str, typer.Argument(help="Name to sign in with.")],
    role: Annotated[str, typer.Option(help="technician, supervisor, writer or device.")],
    team: Annotated[str, typer.Option(help="Team; '*' for everybody.")] = "",
    technician: Annotated[str, typer.Option(help="The technician's name as visits have it.")] = "",
    mail: Annotated[str, typer.Option(help="Address that the --sign-on issuer vouches for; then no password.")] = "",
    visits: StoreFolder = Path("visits"),
    people: PeopleDatabase = None,
) -> None:
    """Add a person, or a device that sends. It asks for the password; never put one on the command line."""
    from handsfree.desk import commands

    commands.people_add(visits, name, role, team, technician, people, mail)


@app.command("people-change")
def people_change(
    name: Annotated[str, typer.Argument(help="Name to sign in with.")],
    role: Annotated[str | None, typer.Option(help="technician, supervisor or writer.")] = None,
    team: Annotated[str | None, typer.Option(help="Team; '*' for everybody.")] = None,
    technician: Annotated[str | None, typer.Option(help="The technician's name as visits have it.")] = None,
    password: Annotated[bool, typer.Option("--password", help="Ask for a new password.")] = False,
    forget_codes: Annotated[bool, typer.Option("--forget-codes", help="Take away their second factor.")] = False,
    visits: StoreFolder = Path("visits"),
    people: PeopleDatabase = None,
) -> None:
    """Give a person another role, team or password. All their sessions end."""
    from handsfree.desk import commands

    commands.people_change(visits, name, role, team, technician, password, people, forget_codes)


@app.command("people-remove")
def people_remove(
    name: Annotated[str, typer.Argument(help="Name they sign in with.")], visits: StoreFolder = Path("visits"),
    people: PeopleDatabase = None
) -> None:
    """Remove a person. All their sessions end."""
    from handsfree.desk import commands

    commands.people_remove(visits, name, people)


@app.command("people-list")
def people_list(visits: StoreFolder = Path("visits"), people: PeopleDatabase = None) -> None:
    """List who may sign in, and in which role."""
    from handsfree.desk import commands

    commands.people_list(visits, people)


@app.command("digest")
def digest(
    days: Annotated[int, typer.Option(min=1, max=31, help="How many days back.")] = 1,
    out: Annotated[Path | None, typer.Option(help="File to write instead of printing.")] = None,
    origin: Annotated[str, typer.Option(help="The desk's address, for the links in it.")] = "",
    visits: StoreFolder = Path("visits"),
    database: AsTheDesk = None,
    people: PeopleDatabase = None,
    sound: AsTheDesk = None,
    review: AsReviewed = 0,
) -> None:
    """Write a digest of the last days. It has what came in, what needs attention and what is due."""
    from handsfree.desk import commands
    from handsfree.desk.serve import DeskOptions

    commands.digest(DeskOptions(visits, database, people, sound, one_in=review), days, out, origin)


@app.command("check")
def check(
    visits: StoreFolder = Path("visits"),
    database: AsTheDesk = None,
    people: PeopleDatabase = None,
    sound: AsTheDesk = None,
    review: AsReviewed = 0,
    kept: Annotated[Path | None, typer.Option(help="A tree head kept elsewhere; the ledger must begin with it.")] = None,
) -> None:
    """Check that what the desk keeps is intact. Sound, attachments, its own journals; exit status 3 if one is not."""
    from handsfree.desk import commands
    from handsfree.desk.serve import DeskOptions

    commands.check(DeskOptions(visits, database, people, sound, one_in=review), kept)
