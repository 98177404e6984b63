"""What lines of every file of ours share: strict models, each fault of a line one clear problem."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, TypeVar

from pydantic import BaseModel, ConfigDict, PlainValidator, ValidationError
from pydantic_core import ErrorDetails

from idlewright.errors import Problem
from idlewright.family.amounts import refuse, shown
from idlewright.family.names import did_you_mean, is_id
from idlewright.family.positions import Path
from idlewright.family.salvage import Muted, salvaged
from idlewright.family.textfile import Document

FORMAT = 1

M = TypeVar("M", bound=BaseModel)


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        refuse(f"{shown(value)} is neither true nor false", "true or false, without quotes")
    return value


Flag = Annotated[bool, PlainValidator(_flag)]


class Line(BaseModel):
    """Base of every line: strict, no unknown keys; its checks are built when first needed."""

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True
    )


def head_problems(document: Document) -> Iterable[Problem]:
    """`format = 1` and `id`, which every file of ours begins with."""
    version = document.data.get("format")
    if version is None:
        yield document.problem(("format",), "format is missing", "format = 1", "add it at the top")
    elif isinstance(version, bool) or version != FORMAT:
        newer = isinstance(version, int) and version > FORMAT
        yield document.problem(
            ("format",),
            f"format {version} is not known here",
            "format = 1",
            "use a newer version of this program" if newer else "write format = 1",
        )
    name = document.data.get("id")
    if name is None:
        yield document.problem(("id",), "id is missing", 'id = "a-name"', "add it at the top")
    elif not isinstance(name, str) or not is_id(name.replace("-", "_")):
        yield document.problem(
            ("id",), f"{name!r} is no id", "lower case words, digits, `-`, `_` and `.`", "rename it"
        )


def check_line(
    document: Document,
    model: type[M],
    raw: Mapping[str, object],
    path: Path,
    problems: list[Problem],
    muted: list[Muted],
) -> M | None:
    """One line as its model, with all its faults added to `problems`.

    A faulty line is salvaged where it can be, and noted in `muted`; else it is None.
    """
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        details = error.errors(include_url=False)
        problems += [problem_of(document, path, detail, model) for detail in details]
        line, quiet = salvaged(document, model, raw, path, details)
        muted.append(quiet)
        return line


def problem_of(
    document: Document, path: Path, detail: ErrorDetails, model: type[BaseModel]
) -> Problem:
    """One pydantic error as a problem of ours."""
    loc = tuple(detail["loc"])
    place = (*path, *loc)
    key = str(loc[-1]) if loc else ""
    kind = detail["type"]
    if kind == "missing":
        return document.problem(place, f"{key} is missing", f"a line with {key} = …", f"add {key}")
    if kind == "extra_forbidden":
        known = [f.alias or name for name, f in model.model_fields.items()]
        if isinstance(detail["input"], dict) and key not in known:
            return document.problem(
                place, f'unknown key "{key}"', "one of " + ", ".join(known),
                f'{did_you_mean(key, known, "key")} (an id with a dot is written in quotes)',
            )
        return document.problem(
            place, f'unknown key "{key}"', "one of " + ", ".join(known),
            did_you_mean(key, known, "key"),
        )
    context = detail.get("ctx") or {}
    if kind == "idlewright":
        return document.problem(
            place, str(context["says"]), str(context["expected"]), str(context["remedy"])
        )
    message = detail["msg"]
    expected = message.replace("Input should be ", "").replace("a valid dictionary", "a table")
    return document.problem(place, f"{key} cannot be used", expected, "correct the value")
