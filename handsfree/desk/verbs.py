"""`handsfree desk` and the verbs beneath it, one thin function each. Everything heavy is imported where it is used."""

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(help="Serve the supervisor's desk: every visit as pages, on this machine.", invoke_without_command=True)

StoreFolder = Annotated[Path, typer.Option("--visits", help="Folder that visits are kept in.")]
PeopleDatabase = Annotated[
    str | None, typer.Option("--people", help="Database of people, where it is not beside the visits.")
]

AsTheDesk = Annotated[str | None, typer.Option(help="As the desk was started with.")]
AsReviewed = Annotated[int, typer.Option(min=0, max=100_000, help="As the desk was started with.")]


@app.callback()
def desk(
    context: typer.Context,
    visits: StoreFolder = Path("visits"),
    database: Annotated[str | None, typer.Option(help="postgresql://…, where it is not SQLite beside the visits.")] = None,
    people: PeopleDatabase = None,
    sound: Annotated[str | None, typer.Option(help="s3://… or a folder that sound and attachments go to.")] = None,
    host: Annotated[str, typer.Option(help="Another than this machine needs TLS and accounts.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535)] = 8642,
    certificate: Annotated[Path | None, typer.Option(help="TLS certificate.")] = None,
    key: Annotated[Path | None, typer.Option(help="Its key.")] = None,
    origin: Annotated[str | None, typer.Option(help="The address browsers use, where --host is another.")] = None,
    signed_only: Annotated[bool, typer.Option("--signed-only", help="Take only visits signed by a known device.")] = False,
    review: Annotated[int, typer.Option(min=0, max=100_000, help="Draw one in so many good visits for review.")] = 0,
    second_factor: Annotated[
        list[str] | None, typer.Option(help="A role that must have a second factor; may be given several times.")
    ] = None,
    sign_on: Annotated[str, typer.Option(help="Issuer of OpenID Connect that people may sign in with.")] = "",
    sign_on_client: Annotated[str, typer.Option(help="What it knows this desk by.")] = "",
    sign_on_secret: Annotated[Path | None, typer.Option(help="File with the secret it gave.")] = None,
) -> None:
    """Serve the desk until interrupted. Its database is made from the visit folders and can be deleted at any time."""
    if context.invoked_subcommand is None:
        from handsfree.desk import commands
        from handsfree.desk.serve import DeskOptions

        commands.desk(DeskOptions(
            visits, database, people, sound, host, port, certificate, key, origin, signed_only, sign_on, sign_on_client,
            sign_on_secret, review, tuple(second_factor or ()),
        ))  # fmt: skip


@app.command("people-add")
def people_add(
    name: Annotated[str, typer.Argument(help="Name to sign in with.")],
    role: Annotated[str, typer.Option(help="technician, supervisor, writer or device.")],
    team: Annotated[str, typer.Option(help="Team; '*' for everybody.")] = "",
    technician: Annotated[str, typer.Option(help="The technician's name as visits have it.")] = "",
    mail: Annotated[str, typer.Option(help="They sign in by --sign-on, which vouches for it; no password.")] = "",
    visits: StoreFolder = Path("visits"),
    people: PeopleDatabase = None,
) -> None:
    """Add a person, or a device that sends. It asks for the password, which never stands on the command line."""
    from handsfree.desk import commands

    commands.people_add(visits, name, role, team, technician, people, mail)


@app.command("people-change")
def people_change(
    name: Annotated[str, typer.Argument(help="Name that signs in.")],
    role: Annotated[str | None, typer.Option(help="technician, supervisor or writer.")] = None,
    team: Annotated[str | None, typer.Option(help="Team; '*' for everybody.")] = None,
    technician: Annotated[str | None, typer.Option(help="The technician's name as visits have it.")] = None,
    password: Annotated[bool, typer.Option("--password", help="A new password, which is asked for.")] = False,
    forget_codes: Annotated[bool, typer.Option("--forget-codes", help="Take away their second factor.")] = False,
    visits: StoreFolder = Path("visits"),
    people: PeopleDatabase = None,
) -> None:
    """Give a person another role, team or password; every session of theirs ends."""
    from handsfree.desk import commands

    commands.people_change(visits, name, role, team, technician, password, people, forget_codes)


@app.command("people-remove")
def people_remove(
    name: Annotated[str, typer.Argument(help="Name that signs in.")], visits: StoreFolder = Path("visits"),
    people: PeopleDatabase = None
) -> None:
    """Remove a person; every session of theirs ends."""
    from handsfree.desk import commands

    commands.people_remove(visits, name, people)


@app.command("people-list")
def people_list(visits: StoreFolder = Path("visits"), people: PeopleDatabase = None) -> None:
    """List who may sign in, and as what."""
    from handsfree.desk import commands

    commands.people_list(visits, people)


@app.command("digest")
def digest(
    days: Annotated[int, typer.Option(min=1, max=31, help="So many days back.")] = 1,
    out: Annotated[Path | None, typer.Option(help="A file for it, in place of printing it.")] = None,
    origin: Annotated[str, typer.Option(help="The desk's address, before the links in it.")] = "",
    visits: StoreFolder = Path("visits"),
    database: AsTheDesk = None,
    people: PeopleDatabase = None,
    sound: AsTheDesk = None,
    review: AsReviewed = 0,
) -> None:
    """Write what came in, what needs somebody and what is due, for a message every morning."""
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
) -> None:
    """Check that every sound, every attachment and what was done about findings hold. Exit status 3 if one does not."""
    from handsfree.desk import commands
    from handsfree.desk.serve import DeskOptions

    commands.check(DeskOptions(visits, database, people, sound, one_in=review))
