"""The verbs, found by name and imported only when one is run; help shows examples first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

import click

from idlewright.cli.session import Session
from idlewright.version import __version__

VERBS = {
    "demo": "Watch a hidden fault being found, worked from complaint to proof.",
    "judge": "Judge a job: verdicts, suspects, the next step, the price.",
    "predict": "What every check would read, good and under every fault.",
    "new": "Write a commented starting file: job, sheet, family, part or car.",
    "vet": "Check files of ours; every fault, one a line.",
    "practice": "Find a hidden fault yourself, and be marked on how you went about it.",
    "list": "What there is: families, checks, faults, repairs, words, points.",
    "study": "Measure the method itself on simulated cars.",
}
"""Verb -> one line for the overview; each lives in `idlewright.cli.<verb>_verb` as `VERB`."""


class Examples(click.Command):
    """A verb whose help shows the examples before anything else."""

    def __init__(self, *args: Any, examples: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.examples = tuple(examples)

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """What it does, examples, then usage and options."""
        _write_examples(formatter, self.examples)
        super().format_help(ctx, formatter)


class Shell(click.Group):
    """The program itself: a group whose verbs are imported when they are asked for."""

    examples = (
        "idlewright demo",
        "idlewright new job --family plunger-carburettor --out job.toml",
        "idlewright judge job.toml",
    )

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The verbs, in the order a job meets them."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The verb of that name, imported now, or None."""
        if cmd_name not in VERBS:
            return None
        found: click.Command = import_module(f"idlewright.cli.{cmd_name}_verb").VERB
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the verb; an unknown one is met with the nearest names."""
        known = args[0] in VERBS or args[0].startswith("-")
        if not known and not ctx.resilient_parsing:
            raise click.exceptions.NoSuchCommand(args[0], possibilities=VERBS, ctx=ctx)
        return super().resolve_command(ctx, args)

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Examples, then usage and verbs."""
        _write_examples(formatter, self.examples)
        super().format_help(ctx, formatter)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The verbs from the table: no verb is imported to be described."""
        with formatter.section("Verbs"):
            formatter.write_dl(list(VERBS.items()))


def _write_examples(formatter: click.HelpFormatter, examples: Sequence[str]) -> None:
    if examples:
        with formatter.section("Examples"):
            for example in examples:
                formatter.write(f"{'':>{formatter.current_indent}}{example}\n")
        formatter.write_paragraph()


def _keep_data(ctx: click.Context, _: click.Parameter, value: Path | None) -> None:
    session = ctx.find_object(Session)
    if session is not None and value is not None:
        session.data = value


def data_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """`--data DIR`, which every verb has; it is kept in the session."""
    return click.option(
        "--data",
        type=click.Path(file_okay=False, path_type=Path),
        metavar="DIR",
        expose_value=False,
        is_eager=True,
        callback=_keep_data,
        envvar="IDLEWRIGHT_DATA",
        help="Folder for your own data (also IDLEWRIGHT_DATA).",
    )(command)


def json_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """`--json`; the session has read it already, this makes it known to the parser."""
    return click.option(
        "--json", is_flag=True, expose_value=False, help="Print JSON and nothing else."
    )(command)


def seed_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """`--seed N` for what is random; the same seed gives the same answer."""
    return click.option(
        "--seed",
        type=click.IntRange(min=0),
        default=1,
        show_default=True,
        metavar="N",
        help="Same seed, same answer.",
    )(command)


SHELL = Shell(
    help="From an idle or throttle-sensor complaint to a proven repair.",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    no_args_is_help=True,
)
click.version_option(__version__, message="%(prog)s %(version)s")(SHELL)
