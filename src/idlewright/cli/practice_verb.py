"""`practice`: a car with a hidden fault to learn on, and the marks at the end."""

from __future__ import annotations

import contextlib
import shlex
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from idlewright.cli.failures import tell
from idlewright.cli.families import KINDS, complete_family, family_ids
from idlewright.cli.files import write_file
from idlewright.cli.screen import style_wanted, width
from idlewright.cli.session import Session, write_out
from idlewright.cli.shell import Examples, data_option, json_option
from idlewright.errors import BadInput, Problem

if TYPE_CHECKING:
    from idlewright.lesson.session_file import SessionFile


@click.command(
    "practice",
    cls=Examples,
    examples=(
        "idlewright practice --number 12",
        "idlewright practice --family duty-airflow --kind intermittent",
        "idlewright practice --car monday.toml --session anna.jsonl --learner Anna",
        "idlewright practice --report class-folder",
    ),
    help="A practice car with a hidden fault: read, repair and prove it yourself, line by line, "
    "and be marked on what you could know, not on luck. Every step is kept as it is taken; the "
    "same command goes on where you stopped.",
)
@click.option("--number", type=click.IntRange(min=0), metavar="N", help="Which car (default: 1).")
@click.option(
    "--family",
    metavar="F",
    shell_complete=complete_family,
    help="Family of the car (default: the first of `list families`).",
)
@click.option("--kind", type=click.Choice(KINDS), help="What is hidden (default: anything).")
@click.option(
    "--car",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="A teacher's own car, from `new car`.",
)
@click.option(
    "--session",
    "file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Keep the lesson there (default: in your data folder, by the car's name).",
)
@click.option("--learner", default="", metavar="NAME", help="Who learns, for the report.")
@click.option(
    "--report",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="For a teacher: the results of every session in a folder, also as DIR/class.html.",
)
@json_option
@data_option
@click.pass_obj
def VERB(
    session: Session,
    number: int | None,
    family: str | None,
    kind: str | None,
    car: Path | None,
    file: Path | None,
    learner: str,
    report: Path | None,
) -> int:
    """Hold the lesson, or report on a class."""
    asked = {"number": number, "family": family, "kind": kind, "car": car}
    if report is not None:
        _alone("--report reads lessons", {**asked, "session": file, "learner": learner or None})
        return _report(session, report)
    from idlewright.lesson.steps import plain

    lesson = _session(session, asked, file, plain(learner))
    _Talk(session, lesson).hold()
    return 0


def _alone(says: str, others: dict[str, Any]) -> None:
    """Refuse options that do not go with another one.

    Raises:
        BadInput: one of them is given.
    """
    stray = [f"--{name}" for name, value in others.items() if value is not None]
    if stray:
        says = f"{says}, and {' and '.join(stray)} is there too"
        raise BadInput(Problem(says, remedy="leave one out"))


def _report(session: Session, folder: Path) -> int:
    from idlewright.lesson.class_report import class_report
    from idlewright.report.class_page import class_page
    from idlewright.report.lesson_text import class_text

    found = class_report(folder)
    page = folder / "class.html"
    write_file(page, class_page(found))
    words = class_text(found, width(), style_wanted())
    session.answer(found, f"{words}\nAs a page: {page}\n")
    return 0


def _session(
    session: Session, asked: dict[str, Any], file: Path | None, learner: str
) -> SessionFile:
    """The lesson asked for: begun, or gone on with."""
    from idlewright.lesson.opening import Opening
    from idlewright.lesson.session_file import SessionFile, is_begun

    says_car = any(value is not None for value in asked.values())
    if file is not None and is_begun(file) and not says_car:
        return _of_learner(SessionFile.open(file), learner)
    if asked["car"] is not None:
        others = {name: asked[name] for name in ("number", "family", "kind")}
        _alone("--car says which car it is", others)
        opening = Opening.of_file(asked["car"])
    else:
        family = asked["family"] or family_ids()[0]
        number = 1 if asked["number"] is None else asked["number"]
        opening = Opening.of(family, number, asked["kind"] or "")
    path = file or session.data_folder() / "practice" / f"{opening.name}.jsonl"
    if not is_begun(path):
        return SessionFile.begin(path, opening, learner)
    found = SessionFile.open(path)
    if found.lesson.opening != opening:
        says = f"holds a lesson on another car, {found.lesson.opening.name}"
        if found.lesson.opening.name == opening.name:
            says = "holds a lesson on this car as it was before it was changed"
        remedy = "choose another --session, or leave the car out to go on with that one"
        raise BadInput(Problem(says, f"a lesson on {opening.name}", remedy, str(path)))
    return _of_learner(found, learner)


def _of_learner(found: SessionFile, learner: str) -> SessionFile:
    """The same lesson if it is this learner's, or nobody's in particular."""
    if learner and found.learner and learner != found.learner:
        says = f"holds a lesson of another learner, {found.learner}"
        remedy = "choose another --session, or leave --learner out to go on with that one"
        raise BadInput(Problem(says, f"a lesson of {learner}", remedy, str(found.path)))
    return found


class _Talk:
    """The dialogue: a line in, what came of it out; on a terminal or through a pipe."""

    def __init__(self, session: Session, lesson: SessionFile) -> None:
        self.session = session
        self.kept = lesson

    def hold(self) -> None:
        """From where the lesson stands to its end, or to the last line typed."""
        self._begin()
        if self.kept.lesson.ending is None:
            for line in self._lines():
                if not self._step(line):
                    break
        self._end()

    def _begin(self) -> None:
        from idlewright.lesson.looks import brief, look
        from idlewright.report.lesson_text import brief_text, look_text
        from idlewright.words import counted

        self._say(brief_text(brief(self.kept.lesson), width(), style_wanted()))
        if self.kept.lesson.told:
            steps = counted(len(self.kept.lesson.told), "step")
            self._say(f"\n  Going on after {steps}.\n")
            self._say(look_text(look(self.kept.lesson), width()))
        if self.kept.lesson.ending is not None:
            self._say("  This lesson has ended. For another try choose another --session.\n")

    def _lines(self) -> Iterator[str]:
        from idlewright.lesson.steps import plain
        from idlewright.report.columns import usable_width, wrap

        reconfigure = getattr(sys.stdin, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")  # a broken byte is a wrong letter, not the end
        on_terminal = sys.stdin.isatty()
        if on_terminal:
            with contextlib.suppress(ImportError):
                import readline  # noqa: F401 - arrow keys and history in what follows
        while True:
            if on_terminal:
                try:
                    line = input("\n> ")
                except EOFError:
                    return
            else:
                line = sys.stdin.readline()
                if not line:
                    return
            line = plain(line)
            if line and not on_terminal:
                rows = wrap(f"> {line}", usable_width(width()), "", "    ")
                self._say("\n".join(["", *rows, ""]))
            if line:
                yield line

    def _step(self, line: str) -> bool:
        """One line; False when the lesson is over or put off."""
        from idlewright.lesson.steps import LOOKS, take_apart
        from idlewright.report.lesson_text import told_text

        try:
            typed = take_apart(line)
            if typed.word == "quit":
                return False
            if typed.word in LOOKS:
                self._say(self._looked(typed.word, typed.args))
                return True
            told = self.kept.do(line)
        except BadInput as error:
            if any(problem.file == str(self.kept.path) for problem in error.problems):
                raise
            self._refuse(error.problems)
            return True
        self._say(told_text(told.as_data(), width()))
        return self.kept.lesson.ending is None

    def _refuse(self, problems: Sequence[Problem]) -> None:
        """A line that was no step: nothing has happened."""
        from idlewright.report.columns import usable_width, wrap

        if self.session.wants_json:
            tell(problems, self.session)
        for problem in problems:
            lines = wrap(f"? {problem.one_line()}", usable_width(width()), "  ", "    ")
            self._say("\n".join(lines) + "\n")

    def _looked(self, word: str, args: tuple[str, ...]) -> str:
        from idlewright.lesson.looks import listing, look
        from idlewright.lesson.steps import help_lines
        from idlewright.report.lesson_text import look_text, rows_text

        if word == "look":
            return look_text(look(self.kept.lesson), width())
        if word == "list":
            return rows_text(listing(self.kept.lesson, args[0], " ".join(args[1:])), width())
        return rows_text(help_lines(), width())

    def _end(self) -> None:
        from idlewright.lesson.marking import marks_of
        from idlewright.report.lesson_text import marks_text

        kept = self.kept
        marks = kept.marks
        if marks is None:
            if kept.lesson.ending is not None:
                self._say("\n  Marking: the same car is worked by the plan ...\n")
            marks = marks_of(kept.lesson, kept.learner)
            if kept.lesson.ending is not None:
                kept.keep_marks(marks)
        words = f"\n{marks_text(marks, width(), style_wanted())}"
        if kept.lesson.ending is None:
            words += f"Go on with: idlewright practice --session {shlex.quote(str(kept.path))}\n"
        self.session.answer(marks, words)

    def _say(self, text: str) -> None:
        if not self.session.wants_json:
            write_out(text)
