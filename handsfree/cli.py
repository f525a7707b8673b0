"""The command line: one thin function per command. Everything heavy is imported where it is used, so that --help is quick.
This module has no `from __future__ import annotations` for the same reason: typer would have to evaluate each one."""

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree import procedure_verbs, record_verbs
from handsfree.desk import verbs
from handsfree.errors import Trouble, shown_plainly
from handsfree.record_verbs import JsonLine, not_with
from handsfree.speech.engines import SETS

app = typer.Typer(
    name="handsfree",
    help="Service procedures by voice: read aloud, answered aloud, isolation confirmed aloud, everything recorded.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

VisitsFolder = Annotated[Path | None, typer.Option("--visits", help="Folder of the visits.")]
EngineName = Annotated[str | None, typer.Option("--engine", help=f"Recogniser: {', '.join(SETS)}.")]
SoundIn = Annotated[str | None, typer.Option("--sound-in", help="A device, a sound file, or '-' for raw samples.")]
SoundOutName = Annotated[str | None, typer.Option("--sound-out", help="A device, a sound file, or '-' for raw samples.")]


@app.command()
def demo(
    visits: VisitsFolder = None,
    json: JsonLine = False,
    engine: EngineName = None,
    sound_out: Annotated[str | None, typer.Option("--sound-out", help="Write the sound too: a file, or '-'.")] = None,
) -> None:
    """Play a whole visit. The technician's side comes from recordings, through the real recogniser."""
    from handsfree.visit import commands

    commands.demo(visits, as_json=json, engine=engine, sound_out=sound_out)


@app.command()
def visit(
    procedure: Annotated[str | None, typer.Argument(help="Name of a procedure that ships, or a procedure file.")] = None,
    resume: Annotated[Path | None, typer.Option("--resume", help="Folder of a visit to resume.")] = None,
    call: Annotated[Path | None, typer.Option("--call", help="The dispatcher's call sheet, YAML or JSON.")] = None,
    typed: Annotated[bool, typer.Option("--typed", help="Type instead of speaking; what you type counts as heard.")] = False,
    sound_in: SoundIn = None,
    sound_out: SoundOutName = None,
    engine: EngineName = None,
    visits: VisitsFolder = None,
    technician: Annotated[str | None, typer.Option(help="Name of the technician.")] = None,
    site: Annotated[str | None, typer.Option(help="Name of the site.")] = None,
    cabinet: Annotated[str | None, typer.Option(help="The cabinet: its model, or the number on it.")] = None,
    by_manual: Annotated[bool, typer.Option("--by-manual", help="Work without a page for this cabinet.")] = False,
    screen: Annotated[bool, typer.Option("--screen", help="A large status screen instead of the running text.")] = False,
    json: JsonLine = False,
) -> None:
    """Begin a visit by voice. Without a procedure name it asks what is wrong."""
    not_with("--typed", typed, sound_in=sound_in, sound_out=sound_out, engine=engine)
    from handsfree.visit import commands

    ask = commands.VisitOptions(
        procedure=procedure, resume=resume, typed=typed, sound_in=sound_in, sound_out=sound_out, engine=engine,
        visits=visits, technician=technician, site=site, cabinet=cabinet, screen=screen, call=call, by_manual=by_manual,
    )
    from handsfree.visit.live import live_visit

    commands.visit(ask, live_visit, as_json=json)


standby = typer.Typer(help="Wait for a visit to be started by voice. Resumes it after a crash.", invoke_without_command=True)
app.add_typer(standby, name="stand-by")


@standby.callback()
def stand_by(
    context: typer.Context,
    sound_in: Annotated[str | None, typer.Option("--sound-in", help="A device, or '-' for raw samples.")] = None,
    sound_out: Annotated[str | None, typer.Option("--sound-out", help="A device.")] = None,
    visits: VisitsFolder = None,
) -> None:
    """Wait with a headset for "start a visit"; after a crash or a loss of power, resume the visit at once."""
    if context.invoked_subcommand is not None:
        not_with(f"'stand-by {context.invoked_subcommand}'", True, sound_in=sound_in, sound_out=sound_out, visits=visits)
        return
    from handsfree.standby import commands

    raise typer.Exit(commands.run(sound_in, sound_out, visits))


@standby.command("unit")
def stand_by_unit(
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="File to write, if not the usual one.")] = None,
) -> None:
    """Write a systemd user unit. With it the program stands by whenever you are signed in."""
    from handsfree.standby import commands

    commands.unit(out)


# ---- hearing --------------------------------------------------------------------------------------------------------


@app.command()
def evaluate(
    manifest: Annotated[Path, typer.Argument(help="JSON Lines: what is played, listened for and expected.")],
    engine: EngineName = None,
    json: JsonLine = False,
    show: Annotated[bool, typer.Option("--show", help="Name each clip that was wrong or accepted without speech.")] = False,
) -> None:
    """Measure recognition. Says how much is right, asked again, wrong, or accepted though nothing was said."""
    from handsfree.speech import commands

    raise typer.Exit(commands.evaluate(manifest, engine, json, show))


models = typer.Typer(help="List or add recognition models. Make and set up packs.", invoke_without_command=True)
app.add_typer(models, name="models")


@models.callback()
def models_at_hand(
    context: typer.Context,
    add: Annotated[Path | None, typer.Option("--add", help="Install a model from a zip or a folder.")] = None,
    name: Annotated[str, typer.Option(help="Its name, if the file's name does not say.")] = "",
    language: Annotated[str, typer.Option(help="Its language, such as en, if its name does not say.")] = "",
    fetch: Annotated[bool, typer.Option("--fetch", help="Fetch the small English Vosk model (needs a network).")] = False,
    fetch_whisper: Annotated[str, typer.Option(help="Fetch whisper's weights: tiny.en (needs a network).")] = "",
) -> None:
    """List the models, with the source and hash of each; or add one."""
    if context.invoked_subcommand is not None:
        given = {"add": add, "name": name or None, "language": language or None, "fetch-whisper": fetch_whisper or None}
        not_with(f"'models {context.invoked_subcommand}'", True, fetch=fetch, **given)
        return
    if add is None and (name or language):
        raise Trouble("--name and --language describe a model that is being added; give its file with --add.")
    not_with("--add", add is not None, fetch=fetch, fetch_whisper=fetch_whisper or None)
    not_with("--fetch", fetch, fetch_whisper=fetch_whisper or None)
    from handsfree.speech import commands

    commands.models(add, name, language, fetch, fetch_whisper)


@models.command("pack")
def models_pack(
    to: Annotated[Path, typer.Argument(metavar="FILE", help="The pack to write.")],
    wheels: Annotated[Path | None, typer.Option(help="A folder of wheels to use if there is no network.")] = None,
    procedures: Annotated[Path | None, typer.Option(help="Your own procedures, including cabinets.")] = None,
) -> None:
    """Make one file for a device without a network. It holds wheels, weights, procedures and cabinets."""
    from handsfree.pack import commands

    commands.pack(to, wheels, procedures)


@models.command("unpack")
def models_unpack(
    pack: Annotated[Path, typer.Argument(metavar="FILE", help="A pack.")],
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="An empty folder to set it up in.")],
) -> None:
    """Set up a pack and test it with the demo. Without the program: python3 FILE FOLDER."""
    from handsfree.pack import commands

    commands.unpack(pack, folder)


@app.command()
def enrol(
    sound_in: SoundIn = None,
    engine: EngineName = None,
    forget: Annotated[bool, typer.Option("--forget", help="Delete the enrolment and its recordings.")] = False,
) -> None:
    """Fit the hearing to one person: two minutes of reading aloud. Not required. It stays on this machine."""
    not_with("--forget", forget, sound_in=sound_in, engine=engine)
    from handsfree.speech import commands

    commands.enrol(sound_in, engine, forget)


sound = typer.Typer(help="Microphones and loudspeakers: list and check.", invoke_without_command=True)
app.add_typer(sound, name="sound")


@sound.callback()
def sound_devices(context: typer.Context) -> None:
    """List the sound devices; 'handsfree sound check' measures one."""
    if context.invoked_subcommand is None:
        from handsfree.sound import commands

        commands.devices()


@sound.command("check")
def sound_check(sound_in: SoundIn = None) -> None:
    """Check the microphone with ten seconds of silence and one phrase. Says what to expect, and what to improve."""
    from handsfree.sound import commands
    from handsfree.speech.expected import TABLE

    commands.check(sound_in, TABLE)


# ---- the record -----------------------------------------------------------------------------------------------------


for verb in record_verbs.VERBS:
    app.command()(verb)


# ---- the procedure writer's -----------------------------------------------------------------------------------------

ProcedureName = Annotated[str, typer.Argument(help="Name of a procedure that ships, or a procedure file.")]
Out = Annotated[Path | None, typer.Option("--out", help="File to write. Without it: standard output.")]


@app.command("list")
def list_procedures(json: JsonLine = False) -> None:
    """List the procedures."""
    from handsfree.procedure import commands

    commands.list_procedures(json)


@app.command()
def check(target: procedure_verbs.Target = None, json: JsonLine = False, sarif: procedure_verbs.Sarif = None) -> None:
    """Find what a field visit would trip over. Exit status 1 if there are errors."""
    from handsfree.procedure import commands

    commands.check(target, json, sarif)


app.add_typer(procedure_verbs.app, name="procedures")


@app.command()
def chart(
    procedure: ProcedureName,
    out: Out = None,
    mermaid: Annotated[bool, typer.Option("--mermaid", help="Text instead of SVG.")] = False,
) -> None:
    """Draw the flow of a procedure, with each isolation shaded."""
    from handsfree.procedure import commands

    commands.chart(procedure, out, mermaid)


@app.command(context_settings={"ignore_unknown_options": True})  # a negative value is not an option
def reckon(
    name: Annotated[str, typer.Argument(help="A function of the trade. Without it: list them all.")] = "",
    values: Annotated[list[str] | None, typer.Argument(help="Its values; with a unit if not the usual: 40degF.")] = None,
    json: JsonLine = False,
) -> None:
    """Do the trade's arithmetic. Superheat, a sensor's ohms, a winding's temperature, the hours to cool a fill."""
    from handsfree.trade import reckon as worked

    worked.show(name, tuple(values or ()), json)


@app.command()
def log(
    file: Annotated[Path, typer.Argument(help="A logger's or a clamp meter's file, CSV.")],
    volts: Annotated[float, typer.Option("--volts", help="Supply voltage, to work out energy from current.")] = 0.0,
    price: Annotated[float, typer.Option("--price", help="Price of a kilowatt-hour.")] = 0.0,
    out: Out = None,
    json: JsonLine = False,
) -> None:
    """Read a logger's or clamp meter's file. Shows range, time above 41 °F, duty, energy a day. --out draws it as SVG."""
    from handsfree.trade import logged

    logged.show(file, volts, price, out, json)


@app.command("print")
def print_copy(procedure: ProcedureName, out: Out = None, card: procedure_verbs.Card = False) -> None:
    """Print a copy for when the battery is dead. Markdown, or PDF if --out ends in .pdf."""
    from handsfree.procedure import commands

    commands.print_copy(procedure, out, card)


@app.command()
def compare(
    old: Annotated[str, typer.Argument(help="The older procedure, or a visit that read it.")],
    new: Annotated[str, typer.Argument(help="The newer procedure, or a visit.")],
    json: JsonLine = False,
) -> None:
    """Say in words what changed for the technician, safety first."""
    from handsfree.procedure import commands
    from handsfree.visit.sessions import book_named

    commands.compare(book_named(old), book_named(new), json)


@app.command()
def record(
    name: Annotated[str, typer.Argument(help="Name of the procedure: small letters, digits and single hyphens.")],
    cabinet: Annotated[bool, typer.Option("--cabinet", help="A cabinet's page: keys, places, leads, plate, deck.")] = False,
    folder: Annotated[Path | None, typer.Option("--folder", help="Folder of procedures; 'procedures' if left out.")] = None,
    typed: Annotated[bool, typer.Option("--typed", help="Type instead of speaking; what you type counts as heard.")] = False,
    language: Annotated[str | None, typer.Option("--language", help="Two letters: en or es.")] = None,
    sound_in: SoundIn = None,
    sound_out: SoundOutName = None,
    engine: EngineName = None,
    words: Annotated[str, typer.Option("--words", help="Words of the trade that you will say: 'burr, hopper'.")] = "",
    json: JsonLine = False,
) -> None:
    """Record a procedure by voice, step by step. Each step is saved. Give the same name again to go on where you stopped."""
    not_with("--typed", typed, sound_in=sound_in, sound_out=sound_out, engine=engine, words=words or None)
    from handsfree.authoring import asked, commands

    commands.record(asked.RecordOptions(name, folder, typed, language, sound_in, sound_out, engine, cabinet, words), json)


@app.command()
def rehearse(
    procedure: ProcedureName,
    typed: Annotated[bool, typer.Option("--typed", help="Walk it yourself from the keyboard, with a map.")] = False,
    spoken: Annotated[bool, typer.Option("--spoken", help="Walk it yourself by voice, with a map.")] = False,
    voice: Annotated[list[str] | None, typer.Option("--voice", help="A voice for the technician; may be repeated.")] = None,
    most: Annotated[int | None, typer.Option("--most", min=1, help="Walk no more paths than this.")] = None,
    engine: EngineName = None,
    json: JsonLine = False,
) -> None:
    """Walk every path of a procedure with synthetic voices. Says what is asked again or misheard, and how long it takes."""
    not_with("--typed", typed, spoken=spoken, voice=voice, most=most, engine=engine, json=json)
    not_with("--spoken", spoken, voice=voice, most=most, json=json)
    from handsfree.authoring import asked, commands

    commands.rehearse(asked.Rehearse(procedure, typed, spoken, tuple(voice or ()), engine, most), as_json=json)


@app.command()
def schema(
    out: Out = None,
    cabinet: Annotated[bool, typer.Option("--cabinet", help="The schema of a cabinet's page instead.")] = False,
) -> None:
    """Write the JSON Schema of procedure files, for editors."""
    from handsfree.procedure import commands

    commands.schema(out, cabinet)


# ---- the desk and the fleet -----------------------------------------------------------------------------------------

app.add_typer(verbs.app, name="desk")


@app.command()
def send(
    place: Annotated[Path | None, typer.Argument(help="A visit, or a folder of them. Without it: what waits.")] = None,
    to: Annotated[str | None, typer.Option("--to", help="Address of the desk: https://desk.example.org")] = None,
    key: Annotated[Path | None, typer.Option("--key", help="File with the key the desk gave this device.")] = None,
    minutes: Annotated[float | None, typer.Option(help="Stop after this many; the rest waits in the queue.")] = None,
    again: Annotated[bool, typer.Option("--again", help="Ask the desk even about visits it has had, or refused.")] = False,
    show: Annotated[bool, typer.Option("--show", help="Only say what is in the queue.")] = False,
    json: JsonLine = False,
) -> None:
    """Send visits to a desk over a bad line. Whole and once, or not at all. Exit status 1 if some are not stored."""
    from handsfree.sending import commands

    raise typer.Exit(commands.send(commands.SendOptions(place, to, key, None, minutes, again, show), as_json=json))


@app.command()
def relisten(
    place: Annotated[Path, typer.Argument(help="A visit, or a folder of them.")],
    scheduler: Annotated[str | None, typer.Option(help="Address of a Dask cluster: tcp://192.0.2.1:8786")] = None,
    engine: EngineName = None,
    jobs: Annotated[int | None, typer.Option(min=1, max=256, help="Processes here. Without it: one per core.")] = None,
    json: JsonLine = False,
) -> None:
    """Hear every kept utterance again with the present recogniser. Says what it would take differently now, gates first."""
    from handsfree.relisten import commands

    raise typer.Exit(commands.relisten(place, scheduler=scheduler, engine=engine, jobs=jobs, as_json=json))


@app.command()
def settings() -> None:
    """Show every setting, its value, and where the value comes from."""
    from handsfree import settings as module

    module.show()


def main(arguments: list[str] | None = None) -> Any:
    """The entry point. Trouble becomes one sentence on standard error and the exit status it carries."""
    try:
        return app(arguments, standalone_mode=True)
    except Trouble as trouble:
        print(f"handsfree: {shown_plainly(trouble.sentence)}", file=sys.stderr)
        sys.exit(trouble.status)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except PermissionError as error:  # in a file or folder that no verb of its own asks about
        print(f"handsfree: {error.filename}: {error.strerror}. See who may read and write there.", file=sys.stderr)
        sys.exit(2)
