"""A lesson: the learner's steps on a practice car, one after another, each told as it is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from idlewright.errors import BadInput, CannotTell, Problem
from idlewright.family.kinds import Check
from idlewright.job.file_states import live_between
from idlewright.job.verdicts import limits_of_spec
from idlewright.lesson.opening import Opening
from idlewright.lesson.steps import Typed, hint, take_apart, tries_in
from idlewright.practice import PracticeCar
from idlewright.quantities import format_range
from idlewright.quantities.units import quoted
from idlewright.words import lower_first, minutes_words

Refusal = Literal["safety", "order", "impossible"]
Ending = Literal["proven", "handed back", "sent on"]
OFF, UNPLUGGED, RUNNING = "off", "unplugged", "run"


@dataclass(frozen=True, slots=True)
class Told:
    """What came of a step.

    Attributes:
        line: as typed. says: what the learner is told, sentence by sentence.
        refused: why it was not done, "" if it was: what could hurt or damage ("safety"), what is
            out of order, or what cannot be done.
        minutes, waiting, parts: what it cost.
    """

    line: str
    says: tuple[str, ...]
    refused: Refusal | Literal[""] = ""
    minutes: float = 0.0
    waiting: float = 0.0
    parts: float = 0.0

    def as_data(self) -> dict[str, Any]:
        """As kept in a session's file."""
        return {
            "line": self.line, "says": list(self.says), "refused": self.refused,
            "minutes": round(self.minutes, 6), "waiting": round(self.waiting, 6),
            "parts": round(self.parts, 6),
        }  # fmt: skip


class _Refused(Exception):
    """A step is not done."""

    def __init__(self, why: Refusal, says: str) -> None:
        super().__init__(says)
        self.why: Refusal = why


@dataclass(slots=True)
class Lesson:
    """One lesson under way.

    Attributes:
        opening: which car. car: the car. told: what came of each step.
        struck: reading id -> why. tries: since the last repair, clean or not.
        tried_before: tries before the first repair. ending: how it ended, None while it goes on.
    """

    opening: Opening
    car: PracticeCar
    told: list[Told] = field(default_factory=list)
    struck: dict[str, str] = field(default_factory=dict)
    tries: tuple[bool, ...] = ()
    tried_before: tuple[bool, ...] = ()
    ending: Ending | None = None

    @classmethod
    def begin(cls, opening: Opening) -> Lesson:
        """A lesson on a car nobody has touched."""
        return cls(opening, opening.open())

    def do(self, line: str) -> Told:
        """Do one step.

        Raises:
            BadInput: the line is no step, or names what is not there; nothing has happened.
        """
        typed = take_apart(line)
        before = (self.car.spent.hands_on, self.car.spent.waiting, self.car.spent.parts)
        refused: Refusal | Literal[""] = ""
        try:
            says = self._do(typed)
        except _Refused as error:
            says, refused = [f"Not done: {error}"], error.why
        spent = self.car.spent
        told = Told(
            line.strip(), tuple(says), refused, spent.hands_on - before[0],
            spent.waiting - before[1], spent.parts - before[2],
        )  # fmt: skip
        self.told.append(told)
        return told

    def data(self) -> dict[str, Any]:
        """What was read and repaired, as the data of a job file; struck readings are struck."""
        data: dict[str, Any] = self.car.as_job(self.opening.name)
        data["family"] = self.opening.family
        for line in data["reading"]:
            if line["id"] in self.struck:
                line["struck"] = self.struck[line["id"]]
        return data

    @property
    def unplugged(self) -> list[str]:
        """Plugs that are off now."""
        return [name for name, value in self.car.state.items() if value == UNPLUGGED]

    @property
    def proven(self) -> bool:
        """Every try since the last repair was clean, and there was one."""
        return bool(self.car.repairs and self.tries) and all(self.tries)

    def _do(self, typed: Typed) -> list[str]:
        if typed.word == "read":
            return self._read(typed) if len(typed.args) == 1 else self._read_between(typed)
        if typed.word == "turn":
            return self._turn(typed)
        if typed.word == "repair":
            return self._repair(typed.args[0])
        if typed.word == "prove":
            return self._prove(tries_in(typed.args))
        if typed.word == "strike":
            return self._strike(typed)
        if typed.word == "say":
            return ["Noted."]
        return self._end(typed.word)

    def _read(self, typed: Typed) -> list[str]:
        check = self._known("check", typed.args[0], self.car.family.checks)
        needs = self.car.bench.needs(check.state)
        says = self._ready(needs, f"check {check.id}", check.cautions)
        try:
            text = self.car.read(check.id)
        except CannotTell as error:
            self.car.bench.work(check.minutes, check.wait, check.leaves)  # to see that took as long
            return [*says, f"{check.say}: nothing to read ({error.problems[0].says})."]
        book = self._book(check)
        return [*says, f"{self._last_id()} {check.say}: {text}{f'. {book}' if book else ''}"]

    def _book(self, check: Check) -> str:
        """What the sheet, or common practice, asks for."""
        if check.spec is None:
            return ""
        if check.spec.words:
            return f"Should be {' or '.join(check.spec.words)}."
        limits, page = limits_of_spec(check.spec, self.opening.vehicle.sheet)
        if limits is None:
            return ""
        unit = self.opening.vehicle.prepared.forms[check.id].unit
        moved = ", moves with the reference" if check.ratio_to else ""
        return f"Asked: {format_range(limits.low, limits.high, unit)} ({page}{moved})."

    def _read_between(self, typed: Typed) -> list[str]:
        if len(typed.args) < 3:
            wrong = "a reading between two places names both and what to read"
            raise BadInput(Problem(wrong, "read RED BLACK volt|ohm [NAME=VALUE ...]"))
        red, black, function = typed.args[:3]
        family = self.car.family
        places = {**family.points, **family.part_points}
        for place in (red, black):
            self._known("place", place, places)
        if red == black:
            raise BadInput(Problem("both leads are on one place", remedy="name two places"))
        if function not in ("volt", "ohm"):
            wrong = f"{quoted(function)} cannot be read between two places here"
            raise BadInput(Problem(wrong, remedy="type volt or ohm third"))
        state = dict(self._setting(word) for word in typed.args[3:])
        if function == "ohm" and live_between(
            family, self.opening.vehicle.sheet, (red, black), family.full_state(state)
        ):
            raise _Refused("safety", "an ohmmeter on a live circuit reads nonsense and can be "
                           "damaged. Switch off or unplug first, and say the state.")  # fmt: skip
        says = self._ready(self.car.bench.needs(state), "this reading", ())
        text = self.car.read_between(red, black, function, state)
        return [*says, f"{self._last_id()} {function} from {red} to {black}: {text}."]

    def _turn(self, typed: Typed) -> list[str]:
        words = typed.args if len(typed.args) == 2 else tuple(typed.args[0].split("=", 1))
        if len(words) != 2:
            raise BadInput(Problem("turn names what and to what", "for instance turn key on"))
        name, value = self._setting("=".join(words))
        if self.car.state[name] == value:
            return [f"{name} is {value} already."]
        variable = self.car.family.states[name]
        missing = {
            other: wanted
            for other, wanted in variable.needs.get(value, {}).items()
            if self.car.state[other] != wanted
        }
        if missing:
            first = f"{name} {value} needs {', '.join(map(' '.join, missing.items()))} first."
            cautions = [self.car.family.cautions.get(c, c) for c in variable.cautions]
            if cautions and not {OFF, UNPLUGGED}.isdisjoint(missing.values()):
                raise _Refused("safety", " ".join([first, *cautions]))
            raise _Refused("impossible", first)  # without power it hurts nobody: nothing happens
        if not self.car.bench.setup.possible(name, value):
            raise _Refused("impossible", f"nobody can bring {name} to {value} by hand: it comes by "
                           "itself, or by a check.")  # fmt: skip
        says = self._ready({name: value}, name, ())
        self.car.get_ready({name: value}, name)
        return says

    def _repair(self, name: str) -> list[str]:
        repair = self._known("repair", name, self.car.family.repairs)
        needs = dict(repair.state)
        if "key" not in needs and self.car.state.get("key") == RUNNING:
            needs["key"] = OFF  # no work on an engine that runs, unless the repair asks for it
        says = self._ready(needs, f"repair {name}", repair.cautions)
        self.car.get_ready(needs, f"repair {name}")
        self.car.repair(name)
        self.tries = ()
        says.append(f"{repair.do} Done.")
        again = [self.car.family.checks[check].id for check in repair.voids]
        if again:
            says.append(f"It moves these: read them again. {', '.join(again)}.")
        return says

    def _prove(self, tries: int) -> list[str]:
        if self.unplugged:
            raise _Refused("order", f"{', '.join(self.unplugged)} is still unplugged. Everything "
                           "goes back before a proof.")  # fmt: skip
        needs = self.car.bench.needs({})
        if "key" in needs and RUNNING in self.car.family.states["key"].values:
            needs["key"] = RUNNING
        cautions = tuple(c for c in ("running", "belts") if c in self.car.family.cautions)
        says = self._ready(needs, "a try under load", cautions)
        self.car.get_ready(needs, "a try under load")
        clean = self.car.proof(next(iter(self.car.family.repairs)), tries)
        if self.car.repairs:
            self.tries = (*self.tries, *clean)
        else:
            self.tried_before = (*self.tried_before, *clean)
        bad = len(clean) - sum(clean)
        return [*says, f"It showed in {bad} of {len(clean)} tries." if bad else
                f"{len(clean)} clean {'try' if len(clean) == 1 else 'tries'}."]  # fmt: skip

    def _strike(self, typed: Typed) -> list[str]:
        reading = typed.args[0]
        known = {str(line["id"]): "" for line in self.data()["reading"]}
        self._known("reading", reading, known)
        if reading in self.struck:
            raise BadInput(Problem(f"{reading} is struck already", remedy="type look"))
        self.struck[reading] = " ".join(typed.args[1:])
        return [f"{reading} does not count any more. It stays, with the reason."]

    def _end(self, word: str) -> list[str]:
        if self.unplugged:
            raise _Refused("order", f"{', '.join(self.unplugged)} is still unplugged. Put "
                           "everything back before the car goes.")  # fmt: skip
        if word == "stop":
            self.ending = "sent on"
            return ["Sent on: cannot tell."]
        self.ending = "proven" if self.proven else "handed back"
        return ["Handed back, proven here." if self.proven else "Handed back without a proof."]

    def _ready(self, needs: Mapping[str, str], what: str, cautions: tuple[str, ...]) -> list[str]:
        """What has to be moved first, in sentences, with the cautions; refused if it cannot be."""
        journey = self.car.bench.setup.reach(self.car.state, needs)
        if journey is None:
            asked = ", ".join(f"{n} {v}" for n, v in needs.items() if self.car.state.get(n) != v)
            raise _Refused("impossible", f"the car cannot be got ready for {what} ({asked}).")
        says = []
        if journey.moves:
            moves = ", ".join(f"{move.name} {move.after}" for move in journey.moves)
            waiting = f", {minutes_words(journey.wait)} waiting" if journey.wait else ""
            says.append(f"Ready: {moves} ({minutes_words(journey.minutes)}{waiting}).")
        ids = dict.fromkeys([*(c for move in journey.moves for c in move.cautions), *cautions])
        return says + [f"Care: {lower_first(self.car.family.cautions.get(c, c))}" for c in ids]

    def _setting(self, word: str) -> tuple[str, str]:
        name, _, value = word.partition("=")
        variable = self._known("state", name, self.car.family.states)
        if value not in variable.values:
            says = f"{name} is never {quoted(value)}" if value else f"{name} of what value"
            raise BadInput(Problem(says, f"one of {', '.join(variable.values)}"))
        return name, value

    def _known(self, kind: str, name: str, known: Mapping[str, Any]) -> Any:
        if name not in known:
            lists = {"check": "checks", "repair": "repairs", "place": "points", "state": "states"}
            see = f"list {lists[kind]}" if kind in lists else "look"
            says = f"there is no {kind} {quoted(name)}"
            raise BadInput(Problem(says, remedy=hint(name, known, see)))
        return known[name]

    def _last_id(self) -> str:
        return str(self.data()["reading"][-1]["id"])
