"""A practice car: read, repaired and proved like a real one, it keeps its fault to itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from idlewright.diagnosis.world import PROVOKED
from idlewright.errors import BadInput, CannotTell, Problem
from idlewright.family.kinds import Check, Family, Repair
from idlewright.family.names import did_you_mean
from idlewright.model.forms import Form, form_between, form_of_check
from idlewright.model.latents import Latent
from idlewright.model.physics_of import Physics
from idlewright.physics.meter import ORDINARY_METER, Meter
from idlewright.plan.setup import Journey
from idlewright.practice.answers import answer, word_by_odds
from idlewright.practice.chance import Chance
from idlewright.practice.clock import Bench, Spent
from idlewright.practice.complaint import Complaint
from idlewright.practice.display import Instruments, typed
from idlewright.practice.hidden import HiddenCar, HiddenFault, positions_of, severity_of
from idlewright.practice.laws import Law
from idlewright.practice.notebook import Notebook, contact_of, induced_by
from idlewright.practice.slips import Slip, SlipMade, another_word, misread, possible_slips

PROOF_MINUTES = 1.5
"""Hands-on minutes of one try under load (common practice, no source)."""
MASKED = 0.05
"""Chance that one try does not bring out a fault that is there (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Luck:
    """How often things go wrong around a practice car; all chances 0 to 1.

    Attributes:
        slip: a reading is a slip of the hand. wipe: unplugging makes a poor contact good for the
            time being. induce: a repair brings in one of the faults that work brings in.
        kind: slips of this kind only ("" = any that can happen).
    """

    slip: float = 0.0
    wipe: float = 0.0
    induce: float = 0.0
    kind: str = ""


@dataclass(frozen=True, slots=True)
class RepairMade:
    """A repair: what it cured and what it brought in (fault ids), and in which epoch."""

    id: str
    cured: tuple[str, ...]
    brought: tuple[str, ...]
    epoch: int


@dataclass(slots=True)
class PracticeCar:
    """One car with its hidden faults. `open_car` makes it.

    Attributes:
        family: as everybody knows it. law: how it was drawn. complaint: what the driver says.
        hidden: the truth. bench: state, clock and money. luck: what may go wrong.
        epoch: repairs so far. episode: stretches of readings so far.
        slips: slips made. repairs: repairs made.
    """

    family: Family
    law: Law
    complaint: Complaint
    hidden: HiddenCar
    bench: Bench
    luck: Luck
    _physics: Physics
    _chance: Chance
    epoch: int = 0
    episode: int = 0
    slips: list[SlipMade] = field(default_factory=list)
    repairs: list[RepairMade] = field(default_factory=list)
    _instruments: Instruments = field(init=False)
    _read: dict[str, int] = field(default_factory=dict)
    _notes: Notebook = field(init=False)
    _tries: int = 0
    _since: float = 0.0

    def __post_init__(self) -> None:
        self._instruments = Instruments(self._chance, self.law)
        self._notes = Notebook(self.family)

    @property
    def state(self) -> Mapping[str, str]:
        """The state the car is in now."""
        return self.bench.state

    @property
    def spent(self) -> Spent:
        """Minutes and money spent so far."""
        return self.bench.spent

    @property
    def faults(self) -> tuple[str, ...]:
        """Ids of the faults that are still there."""
        return tuple(hidden.fault.id for hidden in self.hidden.faults)

    def reveal(self) -> list[str]:
        """What was wrong and still is, in words."""
        said = []
        for hidden in self.hidden.faults:
            found = severity_of(self.hidden.table, hidden)
            amount = "" if found is None else f" ({found[0]}: {found[1]:.3g} {found[2]})"
            comes = ", comes and goes" if hidden.liability < 1 else ""
            said.append(f"{hidden.fault.say}{amount}{comes}")
        return said

    def as_job(self, job_id: str, vehicle: str = "practice car") -> dict[str, object]:
        """What was said, read and done so far, as the data of a job file (without the sheet).

        Stated meters are named beside their readings; their own lines are the caller's to add.
        """
        return {
            "format": 1,
            "id": job_id,
            "family": self.family.id,
            "vehicle": vehicle,
            "complaint": {"words": list(self.complaint.words)},
            "code": [{"id": code, "when": "stored"} for code in self.complaint.codes],
            "state": dict(self.bench.state),
            **self._notes.lines(self.bench.state),
        }

    def read(self, check_id: str, meter: Meter = ORDINARY_METER) -> str:
        """Get the car ready, do a check, and say what a person would type.

        Args:
            check_id: one of the family's checks. meter: with which.

        Raises:
            BadInput: no such check, or the car cannot be got ready for it.
            CannotTell: there is nothing to read (the time of a motor that does not turn).
        """
        check = self._check(check_id)
        self.get_ready(self.bench.needs(check.state), f"check {check_id}")
        if check.provokes:
            self.next_episode()
        form = form_of_check(self.family, check, meter.function("volt").input_ohm)
        text = self._told(check_id, form, meter, check.red, check.provokes)
        self.bench.work(check.minutes, check.wait, check.leaves)
        if check.provokes or any(name not in self.family.states for name in check.disturbs):
            self.next_episode()
        self._notes.checked(check_id, text, meter)
        return text

    def read_between(
        self,
        red: str,
        black: str,
        function: str,
        state: Mapping[str, str],
        meter: Meter = ORDINARY_METER,
        minutes: float = 2.0,
    ) -> str:
        """Read volts or ohms between any two places, as typed.

        Args:
            red, black: places a lead can go. function: "volt" or "ohm". state: what must be so; the
                rest at its first value. meter: with which. minutes: what it takes.

        Raises:
            BadInput: another function, or the state cannot be reached.
        """
        form = form_between(
            self.family, red, black, function, state, meter.function("volt").input_ohm
        )
        whole = self.family.full_state(state)  # what is not noted would be read as it is later
        name = f"{red} / {black} / {function} / {sorted(whole.items())}"
        self.get_ready(self.bench.needs(state), name)
        text = self._told(name, form, meter, red, ())
        self.bench.work(minutes, 0.0, {})
        self._notes.read_between(red, black, function, whole, text, meter)
        return text

    def get_ready(self, needs: Mapping[str, str], what: str) -> None:
        """Bring the car into a state, paying for it.

        Args:
            needs: state variables and their values. what: it is for, in a sentence.

        Raises:
            BadInput: the state cannot be reached.
        """
        journey = self.bench.go(needs, what)
        plugs = self._plugs(journey)
        for hidden in self.hidden.faults:
            touched = hidden.fault.spans and all(
                contact_of(self.family, span.scalar) in plugs for span in hidden.fault.spans
            )
            if touched and not hidden.wiped:
                name = ("wipe", hidden.fault.id, self.epoch, self.episode)
                hidden.wiped = self._chance.happens(self.luck.wipe, *name)
        moved = any("unplugged" in (move.before, move.after) for move in journey.moves)
        if moved or self.bench.minute - self._since > self.law.mood_minutes:
            self.next_episode()

    def repair(self, repair_id: str) -> None:
        """Do a repair: it costs, it cures by chance what it can cure, new parts are new.

        Raises:
            BadInput: no such repair, or the car cannot be got ready for it.
        """
        repair = self.family.repairs.get(repair_id)
        if repair is None:
            raise BadInput(_unknown("repair", repair_id, self.family.repairs))
        self.get_ready({**repair.state}, f"repair {repair_id}")
        times = sum(made.id == repair_id for made in self.repairs)
        cured = [
            hidden
            for hidden in self.hidden.faults
            if self._chance.happens(
                repair.cures.get(hidden.fault.id, 0.0), "cure", repair_id, hidden.fault.id, times
            )
        ]
        self.hidden.faults = [hidden for hidden in self.hidden.faults if hidden not in cured]
        self._renew(repair, times)
        brought = self._bring_in(repair, times)
        rng = self._chance.of("price", repair_id, times)
        self.bench.spent.parts += float(rng.uniform(*repair.parts))
        self.bench.spent.lead_days = max(self.bench.spent.lead_days, repair.lead_days)
        self.bench.work(repair.minutes, repair.wait, repair.leaves)
        self._notes.repaired(repair_id)
        ids = tuple(hidden.fault.id for hidden in cured)
        self.repairs.append(RepairMade(repair_id, ids, brought, self.epoch))
        self.epoch += 1
        self.next_episode()

    def proof(self, repair_id: str, tries: int = 1) -> tuple[bool, ...]:
        """Try the car under load so many times: True for each clean try.

        What is still wrong shows in a try unless it comes and goes and happens to be quiet, or the
        try does not bring it out.

        Raises:
            BadInput: no such repair.
        """
        if repair_id not in self.family.repairs:
            raise BadInput(_unknown("repair", repair_id, self.family.repairs))
        clean = []
        for _ in range(tries):
            self._tries += 1
            clean.append(not any(self._shows(hidden) for hidden in self.hidden.faults))
            self.bench.work(PROOF_MINUTES, 0.0, {})
        return tuple(clean)

    def next_episode(self) -> None:
        """Begin a new stretch: what comes and goes may come or go."""
        self.episode += 1
        self._since = self.bench.minute

    def _check(self, check_id: str) -> Check:
        check = self.family.checks.get(check_id)
        if check is None:
            raise BadInput(_unknown("check", check_id, self.family.checks))
        return check

    def _plugs(self, journey: Journey) -> set[str]:
        """Connectors that were pulled on the way."""
        return {move.name for move in journey.moves if move.after == "unplugged"}

    def active(self, provokes: Sequence[str] = ()) -> list[HiddenFault]:
        """Faults that are there and active now, in a check that provokes some (id prefixes)."""
        found = []
        for hidden in self.hidden.faults:
            chance = hidden.liability
            if any(hidden.fault.id.startswith(prefix) for prefix in provokes):
                chance = 1.0 - (1.0 - chance) ** PROVOKED
            name = ("mood", hidden.fault.id, self.epoch, self.episode)
            if not hidden.wiped and self._chance.happens(chance, *name):
                found.append(hidden)
        return found

    def _shows(self, hidden: HiddenFault) -> bool:
        chance = 1.0 - (1.0 - hidden.liability) ** PROVOKED
        shows = 0.0 if hidden.wiped else chance * (1.0 - MASKED)
        return self._chance.happens(shows, "try", hidden.fault.id, self._tries)

    def _told(
        self, what: str, form: Form, meter: Meter, red: str | None, provokes: Sequence[str]
    ) -> str:
        """What is typed, slips included; slips are remembered."""
        occasion = self._read.get(what, 0)
        right = self._typed(what, occasion, form, meter, provokes)
        self._read[what] = occasion + 1
        if not self._chance.happens(self.luck.slip, "slip", what, occasion):
            return right
        rng = self._chance.of("which slip", what, occasion)
        shapes = [
            shape
            for shape in possible_slips(self.family, form, red)
            if not self.luck.kind or shape.kind == self.luck.kind
        ]
        if not shapes:
            return right
        kinds = sorted({slip.kind for slip in shapes})
        kind = kinds[int(rng.integers(len(kinds)))]
        same = [slip for slip in shapes if slip.kind == kind]
        slip = same[int(rng.integers(len(same)))]
        wrong = self._slipped(what, occasion, slip, meter, provokes, right)
        self.slips.append(SlipMade(what, occasion, slip.kind, slip.says, wrong, right))
        return wrong

    def _slipped(
        self,
        what: str,
        occasion: int,
        slip: Slip,
        meter: Meter,
        provokes: Sequence[str],
        right: str,
    ) -> str:
        rng = self._chance.of("how slipped", what, occasion)
        if slip.digits:
            return misread(right, int(rng.integers(8)), int(rng.integers(9)))
        if slip.word:
            return another_word(right, [*slip.form.words, *slip.form.odds], rng)
        return self._typed(what, occasion, slip.form, meter, provokes, slip.factor)

    def _typed(
        self,
        what: str,
        occasion: int,
        form: Form,
        meter: Meter,
        provokes: Sequence[str],
        factor: float = 1.0,
    ) -> str:
        """A form's answer as text: a word, a number with its unit, or both."""

        def blur(latent: Latent) -> float:
            return float(self.law.error(self._chance.of("blur", what, repr(latent))))

        active = self.active(provokes)
        found = answer(form, self._physics, self.hidden.worlds(active), blur)
        parts = [] if found.word is None else [found.word]
        if found.word is None and form.odds:
            pick = float(self._chance.of("word", what, self.epoch).random())
            parts = [word_by_odds(form, [hidden.fault.id for hidden in active], pick)]
        if found.number is not None:
            shown = self._instruments.shown(
                meter, form.function, found.number, form.scale, form.noise, (what, occasion), factor
            )
            parts.append(typed(meter, form.function, shown))
        if not parts:
            raise CannotTell(
                Problem(
                    says=f"there is nothing to read at check {what}: the motor does not turn",
                    expected="a motor that turns",
                    remedy="do another check",
                    key=what,
                )
            )
        return ", ".join(parts)

    def _renew(self, repair: Repair, times: int) -> None:
        """New parts by the car's law; contacts that were remade are new contacts."""
        table = self.hidden.table
        contacts = [
            name
            for name in table.ids
            if (plug := contact_of(self.family, name)) is not None and plug in repair.reseats
        ]
        positions = positions_of(table, [*repair.renews, *repair.sets, *contacts])
        if positions:
            rng = self._chance.of("new parts", repair.id, times)
            scale = self.law.scale(self._chance.of("scale"))
            deviation = scale * self.law.tolerance(rng, table, self.hidden.variant)
            self.hidden.renew(positions, deviation)

    def _bring_in(self, repair: Repair, times: int) -> tuple[str, ...]:
        """A fault that work brings in, near where the work was done."""
        if not self._chance.happens(self.luck.induce, "induce", repair.id, times):
            return ()
        there = set(self.faults)
        candidates = [f for f in induced_by(self.family, repair) if f.id not in there]
        if not candidates:
            return ()
        rng = self._chance.of("which induced", repair.id, times)
        fault = candidates[int(rng.integers(len(candidates)))]
        self.hidden.faults.append(HiddenFault(fault, self.law.severity(rng)))
        return (fault.id,)


def _unknown(kind: str, name: str, known: Mapping[str, object]) -> Problem:
    return Problem(
        says=f'there is no {kind} "{name}"',
        expected=f"a {kind} that `idlewright list {kind}s` names",
        remedy=did_you_mean(name, known, kind),
        key=kind,
    )
