# SPDX-License-Identifier: MIT
"""The command `curdwright`. Light to import: each verb imports what it needs."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from collector.errors import CurdwrightError

# The arrays here are small: threads of the linear algebra cost more than they save. This is read
# when numpy is first imported, which the verbs do.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
DEFAULT_PORT = 8710
_DATA = os.environ.get("CURDWRIGHT_DATA") or str(Path.home() / "curdwright")


def _data_option(command: Any) -> Any:
    return click.option(
        "--data",
        "data",
        type=click.Path(path_type=Path, file_okay=False),
        default=_DATA,
        show_default=True,
        help="The folder in which all that is kept lies.",
    )(command)


def _config_option(command: Any) -> Any:
    return click.option(
        "--config",
        "config",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Another configuration file than curdwright.toml in the data folder.",
    )(command)


def _address_options(command: Any) -> Any:
    command = click.option(
        "--port",
        type=click.IntRange(0, 65535),
        default=DEFAULT_PORT,
        show_default=True,
        help="The port of the pages; 0 for any that is free.",
    )(command)
    return click.option(
        "--host",
        default="127.0.0.1",
        show_default=True,
        help="The address to listen on; 0.0.0.0 for phones and tablets, which then need a token.",
    )(command)


def _version(context: click.Context, _parameter: click.Parameter, wanted: bool) -> None:
    if wanted and not context.resilient_parsing:
        from api.app import program_version

        click.echo(f"curdwright {program_version()}")
        context.exit()


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_version,
    help="Show the version and end.",
)
def cli() -> None:
    """Log probes and scales, and follow a batch of pressed plant curd.

    Start with `curdwright demo`, which shows a simulated kitchen. `curdwright run` is the real one.
    """


@cli.command()
@click.option(
    "--data",
    "data",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Keep the demo here; without it, a folder for this once, removed at the end.",
)
@click.option(
    "--broker/--no-broker",
    default=True,
    help="Use MQTT too, where Mosquitto is on the machine (default), or not.",
)
@_address_options
def demo(data: Path | None, broker: bool, host: str, port: int) -> None:
    """Run a simulated kitchen with three pots; all of its data is invented."""
    from api.demo.start import run_demo

    sys.exit(run_demo(data, host=host, port=port, with_broker=broker, say=_say))


@cli.command()
@_data_option
@_config_option
@_address_options
def run(data: Path, config: Path | None, host: str, port: int) -> None:
    """Run collector and API, each watched and started again if it ends."""
    from api.running import Part, own_command, run_parts

    more = ["--config", str(config)] if config else []
    where = ["--data", str(data), *more]
    address = ["--host", host, "--port", str(port)]
    parts = [
        Part("serve", own_command("serve", *where, *address)),
        Part("collect", own_command("collect", *where, "--with-watch")),
    ]
    sys.exit(run_parts(parts, _say))


@cli.command()
@_data_option
@_config_option
@click.option("--with-watch", is_flag=True, hidden=True)
def collect(data: Path, config: Path | None, with_watch: bool) -> None:
    """Read probes and scales into the store. Raises no alarm by itself."""
    from api.kitchen import prepare_folder
    from collector.config import load_config
    from collector.daemon import run_collector

    prepare_folder(data)
    loaded = load_config(config, data)
    for warning in loaded.warnings:
        _say(f"warning: {warning}")
    if not with_watch:
        _say("Collecting only: no alarm and no notice is raised without `curdwright serve`.")
    sys.exit(run_collector(loaded, data))


@cli.command()
@_data_option
@_config_option
@_address_options
def serve(data: Path, config: Path | None, host: str, port: int) -> None:
    """Serve the pages and the API, and watch open batches. Collects nothing by itself."""
    from api.serving import serve as serve_pages

    sys.exit(serve_pages(data, host=host, port=port, config_path=config, say=_say))


@cli.command("import")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@_data_option
@click.option("--series", help="The series' name, for a CSV file without a series column.")
@click.option("--unit", help="The unit, for a CSV file without a unit column.")
def import_(file: Path, data: Path, series: str | None, unit: str | None) -> None:
    """Bring in readings from a CSV or SenML file. Doing it twice changes nothing."""
    from api.moving import import_file

    with click.progressbar(length=file.stat().st_size, label=file.name, file=sys.stderr) as bar:
        done = import_file(file, data, series=series, unit=unit, progress=bar.update)
    _say(
        f"{done.stored} stored, {done.repeated} known already, {done.suspect} suspect, "
        f"{done.bad} bad, {done.conflicts} in conflict."
    )


@cli.command()
@click.argument("series", nargs=-1)
@_data_option
@click.option("--from", "from_", help="First time, RFC 3339.")
@click.option("--to", help="End, RFC 3339, not included.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["csv", "senml", "parquet"]),
    help="Default: by the file's ending, else csv.",
)
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), default="-")
def export(
    series: tuple[str, ...],
    data: Path,
    from_: str | None,
    to: str | None,
    form: str | None,
    output: Path,
) -> None:
    """Write readings as they were said, of the named series or of all."""
    from api.moving import export_file

    count = export_file(data, series, span=(from_, to), form=form, output=output)
    click.echo(f"{count} readings written.", err=True)


@cli.command()
@click.argument("batch")
@_data_option
@_config_option
@click.option("--json", "form", flag_value="json", help="As one JSON document.")
@click.option("--csv", "form", flag_value="csv", help="As CSV, a row for each figure and mark.")
@click.option("--fahrenheit", is_flag=True, help="Temperatures in degF.")
@click.option("--ounces", is_flag=True, help="Masses in lb and oz.")
def record(
    batch: str, data: Path, config: Path | None, form: str | None, fahrenheit: bool, ounces: bool
) -> None:
    """Print the record of BATCH: its id, the first letters of it, its name, or last."""
    from api.recording import print_record

    units = {"temperature": "degF" if fahrenheit else "degC", "mass": "oz" if ounces else "g"}
    click.echo(print_record(data, batch, config_path=config, form=form, units=units), nl=False)


@cli.command()
@_data_option
def verify(data: Path) -> None:
    """Check the chains of hashes, the seals of closed batches, and the readings under them."""
    from api.verifying import verify_folder

    faults = verify_folder(data, say=_say)
    for fault in faults:
        _say(f"FAULT {fault}")
    _say("Clean." if not faults else f"{len(faults)} faults.")
    sys.exit(3 if faults else 0)


@cli.command(hidden=True)
@_data_option
@click.argument("url")
@click.argument("broker_port", type=int)
def simulate(data: Path, url: str, broker_port: int) -> None:
    """Run the demo's kitchen beside its server and collector."""
    from api.demo.simulate import simulate as live

    sys.exit(live(data, url, broker_port))


@cli.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print the completion script for a shell: eval "$(curdwright completion bash)"."""
    from click.shell_completion import get_completion_class

    found = get_completion_class(shell)
    assert found is not None
    click.echo(found(cli, {}, "curdwright", "_CURDWRIGHT_COMPLETE").source())


def _say(line: str) -> None:
    click.echo(line)
    sys.stdout.flush()


def main() -> None:
    """Run the command; every error ends in one clear line and an exit code.

    0 well, 1 an error that is told, 2 wrong usage, 3 `verify` found faults.
    """
    try:
        from collector.layout import check_layout

        check_layout()
        cli(prog_name="curdwright")
    except CurdwrightError as error:
        click.echo(f"curdwright: {error}", err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
