"""A small invented car, built by hand: a throttle sensor on its wires, a coolant sensor beside it.

Small enough for brute force over its parameters, yet with everything the diagnosis must handle: log
and linear scalars, a shared ground, a word by limits, a word by odds, an intermittent.
"""

from __future__ import annotations

from idlewright.family.kinds import (
    Check,
    Family,
    Fault,
    Limit,
    Repair,
    Resistor,
    Scalar,
    Sheet,
    SheetEntry,
    Source,
    Span,
    StateVariable,
    Value,
    Word,
)


def _scalar(
    name: str, value: float, within: float, scale: str = "log", unit: str = "ohm"
) -> Scalar:
    return Scalar(name, "log" if scale == "log" else "linear", Value(number=value), within, unit)


def small_family() -> Family:
    """The family of the small car."""
    scalars = [
        _scalar("ref.volt", 5.0, 0.05, "linear", "V"),
        _scalar("ref.source_ohm", 1.0, 0.2),
        _scalar("ref.ohm", 0.1, 0.6),
        _scalar("sig.ohm", 0.1, 0.6),
        _scalar("gnd.ohm", 0.1, 0.6),
        _scalar("common.ohm", 0.05, 0.6),
        _scalar("track.ohm", 5000.0, 0.2),
        _scalar("track.closed", 0.10, 0.01, "linear", "1"),
        _scalar("track.wide", 0.88, 0.02, "linear", "1"),
        _scalar("track.contact_ohm", 50.0, 0.5),
        _scalar("input.ohm", 1e6, 0.1),
        _scalar("coolant.ohm", 250.0, 0.1),
        _scalar("coolant.pull_ohm", 1000.0, 0.02),
        _scalar("coolant.volt", 5.0, 0.05, "linear", "V"),
    ]
    resistors = [
        Resistor("ref", "ref.c", "ref.s", "ref.ohm"),
        Resistor("sig", "sig.c", "sig.s", "sig.ohm"),
        Resistor("gnd", "gnd.c", "gnd.s", "gnd.ohm"),
        Resistor("common", "gnd.c", "zero", "common.ohm"),
        Resistor("contact", "wiper", "sig.s", "track.contact_ohm"),
        Resistor("input", "sig.c", "zero", "input.ohm"),
        Resistor("coolant", "cool", "gnd.c", "coolant.ohm"),
    ]
    for place in ("closed", "wide"):
        when = {"throttle": (place,)}
        resistors.append(
            Resistor(f"low.{place}", "wiper", "gnd.s", "track.ohm", when, f"track.{place}")
        )
        resistors.append(
            Resistor(f"high.{place}", "ref.s", "wiper", "track.ohm", when, f"track.{place}", True)
        )
    sources = [
        Source("ref_source", "ref.c", "zero", "ref.volt", "ref.source_ohm", {"key": ("on",)}),
        Source("pull", "cool", "zero", "coolant.volt", "coolant.pull_ohm", {"key": ("on",)}),
    ]
    faults = [
        Fault("gnd.poor", "Resistance in the sensor ground", (Span("set", "gnd.ohm", 20, 5e4),), 3),
        Fault("common.poor", "Resistance in the common ground",
              (Span("set", "common.ohm", 5, 500),), 1),
        Fault("ref.poor", "Resistance in the reference", (Span("set", "ref.ohm", 20, 5e4),), 2),
        Fault("set_high", "Sensor set too high", (Span("shift", "track.closed", 0.02, 0.10),), 4),
        Fault("set_low", "Sensor set too low", (Span("shift", "track.closed", -0.02, -0.08),), 2),
        Fault("ref.low", "Reference too low", (Span("set", "ref.volt", 2.5, 4.7),), 1),
        Fault("pin.loose", "Ground pin loose", (Span("set", "gnd.ohm", 1e3, 1e7),), 2, True),
    ]
    on_closed = {"key": "on", "throttle": "closed"}
    checks = [
        Check("closed", "closed throttle", "Read it", "volt", on_closed, 1,
              red="sig.s", black="zero", spec=Limit(low=0.45, high=0.57)),
        Check("wide", "wide open", "Read it", "volt", {"key": "on", "throttle": "wide"}, 1,
              red="sig.s", black="zero"),
        Check("reference", "reference", "Read it", "volt", on_closed, 1,
              red="ref.s", black="gnd.s"),
        Check("ground", "ground drop", "Read it", "volt", on_closed, 1, red="gnd.s", black="zero"),
        Check("coolant", "coolant", "Read it", "volt", on_closed, 2, red="cool", black="zero"),
        Check("track", "track", "Read it", "ohm", {"key": "off"}, 4, red="ref.s", black="gnd.s"),
        Check("feel", "feeler", "Look", "word", on_closed, 1, of="track.closed",
              words=(Word("as set", 0.085, 0.115), Word("high", 0.115, None),
                     Word("low", None, 0.085)),
              blur=0.004),
        Check("look", "look at the pin", "Look", "word", on_closed, 1,
              words=(Word("clean"), Word("green", odds={"gnd.poor": 0.6, "pin.loose": 0.5}))),
    ]
    repairs = [
        Repair("gnd.renew", "renew ground", "Renew it", {"gnd.poor": 0.97, "pin.loose": 0.9}, 35,
               renews=("gnd",)),
        Repair("set", "set sensor", "Set it", {"set_high": 0.95, "set_low": 0.95}, 15),
        Repair("common.renew", "renew common", "Renew it", {"common.poor": 0.95}, 60,
               renews=("common",)),
        Repair("ref.renew", "renew reference", "Renew it", {"ref.poor": 0.95}, 40, renews=("ref",)),
        Repair("computer", "computer", "Replace it", {"ref.low": 0.8}, 45, parts=(300.0, 600.0)),
    ]
    states = [
        StateVariable("key", ("off", "on"), {"off": 0.2, "on": 0.2}, {}, {}, {"on": "key on"}),
        StateVariable("throttle", ("closed", "wide"), {"closed": 0.1, "wide": 0.1}, {}, {}, {}),
    ]
    return Family(
        id="small", say="small car", sha256="0", air_metering="", control=None, zero="zero",
        states={s.name: s for s in states},
        scalars={s.id: s for s in scalars},
        resistors={r.id: r for r in resistors},
        sources={s.id: s for s in sources},
        motors={}, faults={f.id: f for f in faults}, checks={c.id: c for c in checks},
        repairs={r.id: r for r in repairs}, words={}, codes={}, cautions={},
        sheet={"closed_v": SheetEntry("closed_v", "closed", "V", (0.45, 0.57))},
        steps={}, plugs={}, points={}, part_points={}, point_says={}, tools={},
    )


def empty_sheet() -> Sheet:
    """A sheet that gives nothing."""
    return Sheet("empty", "0", {})
