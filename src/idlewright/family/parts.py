"""Parts: found, changed by `but` and `without`, renamed, and put into the family that uses them."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath

from idlewright.errors import BadInput, Problem
from idlewright.family.draft import RECORDS, Draft, Origin, Wanted
from idlewright.family.expand import expand_lines
from idlewright.family.kinds import SoftEvidence
from idlewright.family.lines import Lines, read_lines
from idlewright.family.names import did_you_mean
from idlewright.family.positions import Path
from idlewright.family.rename import CLEAN, Renamer, rename_draft, renamer_for
from idlewright.family.schema import SECTIONS, Port, UseLine
from idlewright.family.shipped import DATA, SUFFIXES, known_files
from idlewright.family.textfile import Document, read_document

SHARED = ("sheet", "caution", "tool", "plug")
"""Sections where several parts may say the same thing."""


@dataclass(frozen=True, slots=True)
class _Change:
    """One `but`: dotted key in the part, the new value, where it was written."""

    key: str
    value: object
    origin: Origin


@dataclass(slots=True)
class _Asked:
    """Changes asked of a part before it is expanded."""

    changes: list[_Change] = field(default_factory=list)
    without: dict[str, Origin] = field(default_factory=dict)
    taken: set[str] = field(default_factory=set)


def assemble(document: Document) -> tuple[Lines, Draft]:
    """A file with all its parts, as one draft in the file's own names.

    Problems are gathered in the draft; nothing is raised.
    """
    return _assemble(document, _Asked(), (_place(document),))


def _place(document: Document) -> str:
    return str(FilePath(document.name).resolve()) if document.syntax else document.name


def _assemble(
    document: Document, asked: _Asked, trail: tuple[str, ...]
) -> tuple[Lines, Draft]:
    sha = document.sha256
    inner = _forwarded(document, asked)
    changed = _changed(document, asked)
    lines = read_lines(changed)
    draft = expand_lines(lines)
    draft.documents = [sha]
    draft.problems += asked_problems(changed, asked)
    for name, line in lines.section("use").items():
        if isinstance(line, UseLine):
            _use(draft, name, line, inner.get(name, _Asked()), trail)
    for name, origin in asked.without.items():
        _drop(draft, name, origin, taken=name in asked.taken)
    return lines, draft


def _forwarded(document: Document, asked: _Asked) -> dict[str, _Asked]:
    """What is asked of parts inside this part goes on to them; it is taken out of `asked`."""
    uses = document.data.get("use")
    inner: dict[str, _Asked] = {}
    for name, line in uses.items() if isinstance(uses, dict) else ():
        if isinstance(line, dict) and line.get("bare") is True:
            continue  # its names are those of this file
        head = f"{name}."
        passed = inner.setdefault(name, _Asked())
        for change in list(asked.changes):
            if change.key.startswith(head):
                asked.changes.remove(change)
                passed.changes.append(
                    _Change(change.key.removeprefix(head), change.value, change.origin)
                )
        for key in [key for key in asked.without if key.startswith(head)]:
            passed.without[key.removeprefix(head)] = asked.without.pop(key)
    return inner


def _changed(document: Document, asked: _Asked) -> Document:
    """The document with lines left out and values changed as the user asks."""
    if not asked.changes and not asked.without:
        return document
    data = copy.deepcopy(document.data)
    for name in asked.without:
        for section in SECTIONS:
            content = data.get(section)
            if isinstance(content, dict) and section not in ("use", "port") and name in content:
                del content[name]
                asked.taken.add(name)
    changed = Document(document.name, data, document.text, document.syntax)
    for change in asked.changes:
        places = list(_targets(data, change.key))
        if len(places) == 1:
            _set(data, places[0], change.value)
            changed.moved[places[0]] = (change.origin.document, change.origin.path)
    return changed


def asked_problems(document: Document, asked: _Asked) -> Iterable[Problem]:
    """Changes that hit nothing, or more than one thing."""
    known = set(_all_keys(document.data))
    for change in asked.changes:
        places = list(_targets(document.data, change.key))
        if not places:
            yield change.origin.problem(
                f'but hits nothing: "{change.key}"', "an existing key of an existing line",
                did_you_mean(change.key, known, "key"),
            )
        elif len(places) > 1:
            where = " and ".join(f"[{place[0]}]" for place in places)
            yield change.origin.problem(
                f'"{change.key}" stands in {where}', "a key of one line",
                "use without, and write the line yourself",
            )


def _targets(data: Mapping[str, object], key: str) -> Iterable[Path]:
    for section in SECTIONS:
        content = data.get(section)
        if isinstance(content, dict) and section not in ("use", "port"):
            for path in _find(content, key):
                if len(path) > 1:
                    yield (section, *path)


def _find(table: Mapping[str, object], key: str) -> Iterable[Path]:
    for name, value in table.items():
        if key == name and not isinstance(value, dict):
            yield (name,)
        elif key.startswith(f"{name}.") and isinstance(value, dict):
            for rest in _find(value, key[len(name) + 1 :]):
                yield (name, *rest)


def _all_keys(data: Mapping[str, object]) -> Iterable[str]:
    for section in SECTIONS:
        content = data.get(section)
        for name, line in content.items() if isinstance(content, dict) else ():
            for key in line if isinstance(line, dict) else ():
                yield f"{name}.{key}"


def _set(data: dict[str, object], path: Path, value: object) -> None:
    here: object = data
    for part in path[:-1]:
        here = here[part] if isinstance(here, dict) else {}
    if isinstance(here, dict):
        here[path[-1]] = value


def _drop(draft: Draft, name: str, origin: Origin, *, taken: bool) -> None:
    connectors = {contact.connector for contact in draft.contacts}
    gone = draft.drop(name) or taken
    if name.endswith(CLEAN) and name.removesuffix(CLEAN) in connectors:
        gone = True
    if not gone:
        draft.problems.append(
            origin.problem(f'without hits nothing: "{name}"', "an id of the part",
                           did_you_mean(name, draft.ids()))
        )
    draft.dropped.add(name)


def _use(
    draft: Draft, name: str, line: UseLine, asked: _Asked, trail: tuple[str, ...]
) -> None:
    origin = Origin(draft.document, ("use", name))
    file = find_part(line.part, draft.document)
    if file is None:
        draft.problems.append(
            origin.problem(f'there is no part "{line.part}"',
                           "a part shipped with the program or beside this file",
                           did_you_mean(line.part, known_files("parts"), "part"), ("part",))
        )
        _without_part(draft, name)
        return
    if str(file.resolve()) in trail:
        chain = " → ".join(FilePath(item).stem for item in (*trail, str(file)))
        draft.problems.append(
            origin.problem(f"parts use each other in a circle: {chain}", "no circle",
                           "take one of the [use] lines out", ("part",))
        )
        _without_part(draft, name)
        return
    for key, value in line.but.items():
        where = Origin(draft.document, ("use", name, "but", key))
        asked.changes.append(_Change(key, value, where))
    for key in line.without:
        asked.without[key] = Origin(draft.document, ("use", name, "without"))
    try:
        document = read_document(file)
    except BadInput as error:
        draft.problems += error.problems
        _without_part(draft, name)
        return
    lines, part = _assemble(document, asked, (*trail, str(file.resolve())))
    _put_in(draft, name, line, lines, part)


def _without_part(draft: Draft, name: str) -> None:
    """A part is missing: what would have come from it is not reported again."""
    draft.broken.add(name)
    draft.partial = draft.lost = True


def find_part(part: str, document: Document) -> FilePath | None:
    """The file of a part: beside the file that uses it, else shipped; None = there is none."""
    if "/" in part or "\\" in part or part.startswith("."):
        return None
    folders = [DATA / "parts"]
    if document.syntax:
        beside = FilePath(document.name).parent
        folders = [beside, beside / "parts", *folders]
    for folder in folders:
        for suffix in SUFFIXES:
            file = folder / f"{part}{suffix}"
            if file.is_file() and file.resolve() != FilePath(document.name).resolve():
                return file
    return None


def _put_in(draft: Draft, name: str, line: UseLine, lines: Lines, part: Draft) -> None:
    origin = Origin(draft.document, ("use", name))
    port = lines.port or Port()
    if "port" not in lines.has:
        draft.problems.append(
            origin.problem(f'"{line.part}" is not a part', "a file with [port]",
                           "use a part, or give that file a [port]", ("part",))
        )
    joinable = _joinable(draft, origin, line, port, part)
    states = {state: line.state.get(state, state) for state in port.state}
    for key in line.state:
        if key not in port.state:
            draft.problems.append(
                origin.problem(f'state hits nothing: "{key}"', "a variable of the part's port",
                               did_you_mean(key, port.state), ("state", key))
            )
    kept = {node for node in port.node if node not in line.join}
    prefix = "" if line.bare else f"{name}."
    names = renamer_for(part, prefix, line.join, states, kept)
    merge(draft, rename_draft(part, names, port.state), names, name)
    ids = [key for key in line.join if key in port.id]
    draft.wanted_ids += [Wanted(line.join[key], origin, names.prefix, key) for key in ids]
    if not line.bare:  # a bare part's elements are the file's own: who else touches a node?
        nodes = [key for key in line.join if key in joinable and key not in port.id]
        draft.wanted_nodes += [Wanted(node, origin, names.prefix) for node in sorted(kept)]
        draft.wanted_nodes += [Wanted(line.join[k], origin, names.prefix, k) for k in nodes]
    draft.wanted_states += [Wanted(state, origin, names.prefix) for state in states.values()]


def _joinable(
    draft: Draft, origin: Origin, line: UseLine, port: Port, part: Draft
) -> set[str]:
    """What `join` may name; reports what it names in vain and what it leaves out."""
    joinable = {*port.node, *port.id, *part.nodes}
    for key in line.join:
        if key not in joinable:
            draft.problems.append(
                origin.problem(f'join hits nothing: "{key}"', "a node or id of the part's [port]",
                               did_you_mean(key, {*port.node, *port.id}), ("join", key))
            )
    for key in port.id:
        if key not in line.join:
            draft.problems.append(
                origin.problem(f'the part\'s "{key}" is not joined', "an id of this file",
                               f'add "{key}" = "…" to join', ("join",))
            )
            draft.broken.add(key)
    return joinable


def merge(draft: Draft, part: Draft, names: Renamer, use: str) -> None:
    """Put a renamed part into the draft; lines of the draft's own win over generated ones."""
    for section in RECORDS:
        for record_id, record in part.table(section).items():
            _merge_one(draft, part, section, record_id, record, use)
    if draft.control is None and part.control is not None:
        draft.control = part.control
        draft.places["engine", "control"] = part.places["engine", "control"]
    for fault, only in part.only.items():
        if draft.origin("fault", fault) == part.origin("fault", fault):
            draft.only[fault] = only
    draft.broken |= part.broken
    draft.partial |= part.partial
    draft.lost |= part.lost
    draft.dropped |= part.dropped
    draft.contacts += part.contacts
    draft.movers += part.movers
    draft.soft += part.soft
    draft.also += part.also
    for node, origin in part.nodes.items():
        draft.nodes.setdefault(node, origin)
    draft.problems += part.problems
    draft.documents += part.documents
    draft.muted += part.muted
    draft.sections |= part.sections & {"sheet", "caution", "tool"}
    for mine, theirs, rename in (
        (draft.wanted_nodes, part.wanted_nodes, names.node),
        (draft.wanted_ids, part.wanted_ids, names.ref),
        (draft.wanted_states, part.wanted_states, names.state),
    ):
        mine += [
            replace(wanted, name=rename(wanted.name), user=names.prefix + wanted.user)
            for wanted in theirs
        ]


def _merge_one(
    draft: Draft, part: Draft, section: str, record_id: str, record: object, use: str
) -> None:
    table, origin = draft.table(section), part.origin(section, record_id)
    there = table.get(record_id)
    if there is None:
        draft.add(section, record_id, record, origin)
        if (section, record_id) in part.made:
            draft.made.add((section, record_id))
        return
    own = draft.origin(section, record_id).document is draft.document
    made = (section, record_id) in part.made
    if (section, record_id) in draft.made and not made:
        draft.add(section, record_id, record, origin)
        draft.made.discard((section, record_id))
    elif isinstance(record, SoftEvidence) and isinstance(there, SoftEvidence):
        table[record_id] = joined(there, record)
    elif section in SHARED or section == "point_say":
        if not own and there != record:
            draft.problems.append(
                origin.problem(f'"{record_id}" is said differently by two parts',
                               "the same in both", f"say it once in [{section}] of the family")
            )
    elif not made and section not in ("point", "part_point"):
        draft.problems.append(
            draft.origin(section, record_id).problem(
                f'"{record_id}" comes from the part {use} already',
                "every id once", "rename it, or drop the part's with without",
            )
        )


def joined(first: SoftEvidence, second: SoftEvidence) -> SoftEvidence:
    """One word said in two places: the factors of both; where both name a fault, the larger."""
    raises, lowers = dict(first.raises), dict(first.lowers)
    for mine, others in ((raises, second.raises), (lowers, second.lowers)):
        for fault, factor in others.items():
            mine[fault] = max(factor, mine.get(fault, factor))
    return SoftEvidence(first.id, first.say or second.say, raises, lowers)

