"""Seeded mistakes: explicit rules that spoil one line of a good file and say what must be reported.

A rule names a section, a pattern on its lines, what to put instead and the key at which the problem
must be found.
"""

from __future__ import annotations

import random
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).parent / "mistakes"
FILES = ("pot3.toml", "small-engine.toml", "estate.toml", "job.toml")
SEED = 20_240_117
MOST_LINES = 4
"""A rule that fits more lines than this is tried on so many, drawn by the seed."""


@dataclass(frozen=True)
class Rule:
    """One way to spoil a line.

    Attributes:
        section: section of the line ("" = above the sections, "*" = any).
        pattern: what is replaced, once; lines without it do not fit.
        instead: replacement (`\\1` for groups).
        key: key below the line's own where the problem must be, "" for the line itself; with "."
            at the start a sister of the line's key, with "!" the whole key.
        says: a word the problem must hold ("" = any).
        alone: it shows only while another line is good, or changes the keys of other lines.
    """

    section: str
    pattern: str
    instead: str
    key: str
    says: str = ""
    alone: bool = False


@dataclass(frozen=True)
class Mistake:
    """A spoilt file and where its problem must be reported."""

    name: str
    file: str
    text: str
    line: int
    key: str
    says: str


@dataclass(frozen=True)
class Entry:
    """One line of a good file: 0-based number, its section and its own key."""

    number: int
    section: str
    key: str


def entries(lines: list[str]) -> Iterator[Entry]:
    """Every line that holds a key, with section and dotted key (list items by their id)."""
    section, item = "", ""
    for number, line in enumerate(lines):
        if header := re.match(r"\[\[(\w+)\]\]", line):
            section, item = header[1], ""
            following = re.match(r'id = "(\w+)"', lines[number + 1])
            item = (
                following[1]
                if following
                else str(sum(earlier == line for earlier in lines[: number + 1]))
            )
        elif header := re.match(r"\[(\w+)\]", line):
            section, item = header[1], ""
        elif own := re.match(r'"?([\w.]+)"? *= ', line):
            yield Entry(number, section, ".".join(p for p in (section, item, own[1]) if p))


NAN = r"(ohm|within|weight|minutes|volt|noise) = [\d.e]+"

COMMON = (
    Rule("", r"^format = 1", "format = 2", "!format"),
    Rule("", r"^format = 1", 'format = "1"', "!format"),
    Rule("", r"^id = .*", "id = 7", "!id"),
    Rule("", r'^id = "(.*)"', r'id = "\1 Ä"', "!id"),
    Rule("", r"^id = ", "ident = ", "!ident"),
    Rule("", r"^(format = 1)", r"\1\nvehicel = 3", "!vehicel", "unknown"),
)

FAMILY = (
    Rule("fault", r"weight = ", "wieght = ", "wieght", "unknown"),
    Rule("fault", r", weight = [\d.]+", ", weight = -1", "weight"),
    Rule("fault", r", weight = [\d.]+", ", weight = 0", "weight"),
    Rule("fault", r'say = "[^"]*"', "say = 5", "say"),
    Rule("fault", r'say = "[^"]*", ', "", "say", "missing"),
    Rule("fault", r"\[([\d.e]+), ([\d.e]+)\]", r"[\2, \1]", "", "reversed"),
    Rule("fault", r"(set|shift|times) = \{ (\"?)([a-z]+)", r"\1 = { \2x\3", ""),
    Rule("fault", r"(set|shift|times) = ", r"sets = ", "sets", "unknown"),
    Rule("fault", r'throttle = "closed"', 'throttle = "shut"', "only.throttle"),
    Rule("fault", r"only = \{ throttle", "only = { trottle", "only.trottle"),
    Rule("fault", r'"motor.run_amp" =', '"motor" =', "times.motor"),
    Rule("fault", r"intermittent = true", 'intermittent = "yes"', "intermittent"),
    Rule("check", r"minutes = ", "minuts = ", "minuts", "unknown"),
    Rule("check", r", minutes = \d+", "", "minutes", "missing"),
    Rule("check", r", minutes = \d+", ', minutes = "2"', "minutes"),
    Rule("check", r", minutes = \d+", ", minutes = -2", "minutes"),
    Rule("check", r'do = "[^"]*", ', "", "do", "missing"),
    Rule("check", r'read = "(\w+)"', r'read = "\1x"', "read"),
    Rule("check", r'red = "([\w.]+)"', r'red = "\1x"', "red"),
    Rule("check", r'black = "([\w.]+)"', r'black = "\1x"', "black"),
    Rule("check", r'black = "[\w.]+", ', "", "black", "missing"),
    Rule("check", r'red = "([\w.]+)", black = "[\w.]+"', r'red = "\1", black = "\1"', "black"),
    Rule("check", r'of = "([\w.]+)"', r'of = "\1s"', "of"),
    Rule("check", r'of = "[\w.]+", ', "", "of"),
    Rule("check", r'spec = "sheet\.(\w+)"', r'spec = "sheet.\1x"', "spec"),
    Rule("check", r'spec = "sheet\.idle_rpm"', 'spec = "sheet.closed_v"', "spec"),
    Rule("check", r"spec = \[(-?\d+), (\d+)\]", r"spec = [\2, \1]", "spec", "reversed"),
    Rule("check", r'key = "(on|off|run)"', r'key = "\1ly"', "in.key"),
    Rule("check", r"in = \{ key", "in = { kee", "in.kee"),
    Rule("check", r'ratio_to = "reference"', 'ratio_to = "referense"', "ratio_to"),
    Rule("check", r'ratio_to = "reference"', 'ratio_to = "closed"', "ratio_to"),
    Rule("check", r'caution = "running"', 'caution = "runing"', "caution"),
    Rule("check", r'tools = \["(\w+)"\]', r'tools = ["\1s"]', "tools"),
    Rule("check", r"\[0\.8, 5\]", "[0.5, 5]", "words.wisp", "overlap"),
    Rule("check", r'"loose_mount" = 0\.6', '"loose_mount" = 1.6', "shows"),
    Rule("check", r'"loose_mount" = 0\.6', '"lose_mount" = 0.6', "shows.lose_mount"),
    Rule("check", r'words = \["turns", "stands"\]', 'words = ["turns", "turns"]', "words"),
    Rule("check", r'words = \["turns", "stands"\]', 'words = ["turns"]', "words"),
    Rule("check", r'shows = \{ "marks"', 'shows = { "makrs"', "shows.makrs"),
    Rule("check", r'provokes = \["tps', 'provokes = ["tsp', "provokes"),
    Rule("check", r'disturbs = \["plug"\]', 'disturbs = ["plugg"]', "disturbs"),
    Rule("check", r'hose = "on" \}', 'hose = "off" }', "compare_with.hose"),
    Rule("check", r'read = "mV"', 'read = "rpm"', "read", alone=True),
    Rule("repair", r"cures = \{ (\"?)([a-z])", r"cures = { \1x\2", ""),
    Rule("repair", r"= 0\.9\d?", "= 95", "cures"),
    Rule("repair", r'prove = \["([a-z.]+)"', r'prove = ["\1x"', "prove"),
    Rule("repair", r'renews = \["(\w+)"', r'renews = ["\1x"', "renews"),
    Rule("repair", r'reseats = \["(\w+)"', r'reseats = ["\1x"', "reseats"),
    Rule("repair", r'voids = \["([\w.]+)"', r'voids = ["\1x"', "voids"),
    Rule("repair", r'steps = \["(\w+)"', r'steps = ["\1x"', "steps"),
    Rule("repair", r"parts = \[(\d+), (\d+)\]", r"parts = [\2, \1]", "parts"),
    Rule("repair", r"prove = \[", "proof = [", "proof", "unknown"),
    Rule("repair", r'sets = \["closed_v"\]', 'sets = ["closed_w"]', "sets"),
    Rule("circuit", r"within = [\d.]+", "within = -0.1", "within"),
    Rule("circuit", r" ohm = ([\d.]+)(,| \})", r' ohm = "\1"\2', "ohm"),
    Rule("circuit", r"through = \[\"computer\"", 'through = ["compter"', ""),
    Rule("circuit", r'"sheet\.(\w+)"', r'"sheet.\1x"', "", alone=True),
    Rule("circuit", r"(wire|slider|resistor|source|motor|switch) = \[", r"\1s = [", ""),
    Rule("circuit", r'wire = \["[\w.]+", ', "wire = [", "wire"),
    Rule("circuit", r'beside = \["ref"', 'beside = ["sig"', "beside"),
    Rule("circuit", r"wide = 0\.9", "wyde = 0.9", "at"),
    Rule("circuit", r'moves_with = "tip"', 'moves_with = "tipp"', "moves_with"),
    Rule("circuit", r"weights = \{ open", "weights = { opens", "weights.opens"),
    Rule("circuit", r"poor = \[5, 200\]", "poor = [200, 5]", "poor"),
    Rule("circuit", r"down = 1e9", "dwn = 1e9", "ohm"),
    Rule("circuit", r'live = \{ key = \["on"', 'live = { key = ["onn"', "live.key"),
    Rule("circuit", r'zero = "chassis"', 'zero = "chasis"', "", alone=True),
    Rule("circuit", r"stroke_mm = 12", "stroke = 12", "stroke"),
    Rule("scalar", r"is = [\d.]+", 'is = "lots"', "is"),
    Rule("scalar", r"is = [\d.]+, within = 1.0", "is = 0, within = 1.0", "is"),
    Rule("scalar", r"is = [\d.]+", "is = nan", "is"),
    Rule("scalar", r'scale = "linear"', 'scale = "lin"', "scale"),
    Rule("scalar", r'stands_for = "tps', 'stands_for = "tpd', "stands_for"),
    Rule("engine", r"hose_mm2", "hose_mm", "!engine.leak.hose_mm"),
    Rule("engine", r'actuator = "motor"', 'actuator = "moter"', "actuator"),
    Rule("engine", r'plunger = "in"', 'plunger = "inn"', "low.plunger"),
    Rule("engine", r"fit sheet", "fits sheet", "is"),
    Rule("state", r'caution = "unplug"', 'caution = "unplg"', "caution"),
    Rule("state", r'is = \["(\w+)", "\w+"', r'is = ["\1", "\1"', "is", alone=True),
    Rule("state", r'needs = \{ key = "off"', 'needs = { key = "of"', "needs.key"),
    Rule("state", r"minutes = \{ hot", "minutes = { hott", "minutes.hott"),
    Rule("state", r'fades = \{ hot = \[20, "cold"\]', 'fades = { hot = [20, "cool"]', "fades.hot"),
    Rule("state", r"says = \{ off", "says = { of", "says.of"),
    Rule("state", r"free = true", "free = 1", "free"),
    Rule("sheet", r"\[([\d.]+), ([\d.]+)\]", r"[\2, \1]", "usual", "reversed"),
    Rule("sheet", r'unit = "\w+"', 'unit = "furlong"', "unit"),
    Rule("sheet", r'unit = "\w+", ', "", ""),
    Rule("sheet", r'usual = "open at rest"', 'usual = "open"', "usual"),
    Rule("step", r"lines = \[", "line = [", "line"),
    Rule("step", r'caution = "unplug"', 'caution = "unplg"', "caution"),
    Rule("word", r"= 3", "= 30", "raises"),
    Rule("word", r"= 2", "= 0.5", "lowers"),
    Rule("word", r"raises = \{ (\"?)([a-z])", r"raises = { \1x\2", ""),
    Rule("code", r"raises = ", "rises = ", "rises"),
    Rule("plug", r'"C"\]', '"C", "D"]', "points"),
    Rule("plug", r"tps\.sig\.plug", "tps.sig.plag", "points"),
    Rule("point", r'"battery\.plus"', '"battery.pluss"', "!point.battery.pluss"),
    Rule("caution", r'= ".*"', "= 4", ""),
    Rule("use", r'part = "pot3"', 'part = "pot33"', "part", alone=True),
    Rule("use", r'"ref\.c" =', '"ref.x" =', "join.ref.x"),
    Rule("use", r', "rest" = "engine.air.stop_mm2"', "", "join"),
    Rule("use", r'"track\.within"', '"track.whitin"', "but.track.whitin"),
    Rule("use", r'\["sig\.short\.chassis"\]', '["sig.short.chasis"]', "without"),
    Rule("use", r'"computer\.gnd"', '"computer.gnb"', "", alone=True),
    Rule("port", r'"gnd\.c"', '"gnd.d"', ""),
    Rule("circuit", NAN, r"\1 = nan", ""),
    Rule("circuit", NAN, r"\1 = inf", ""),
    Rule("fault", NAN, r"\1 = nan", ""),
    Rule("*", r"^(\"?[\w.]+\"? = \{.*)$", r"\1\n\1", "", "twice"),
    Rule("*", r" \}$", "", ""),
    Rule("*", r'", ', ", ", ""),
)

SHEET = (
    Rule("", r'family = "small-engine"', 'family = "small-motor"', "!family"),
    Rule("value", r'" *V"', '"', ""),
    Rule("value", r'(\d) ?(V|kohm|mV|rpm)"', r'\1"', "", "unit"),
    Rule("value", r'(\d) ?(V|mV)"', r'\1 ohm"', "", "resistance"),
    Rule("value", r'"4\.8 V", "5\.2 V"', '"5.2 V", "4.8 V"', "", "reversed"),
    Rule("value", r', "p\. \d+"\]', "]", "", "parts"),
    Rule("value", r'"p\. \d+"', '""', ""),
    Rule("value", r'"4\.8 V"', "4.8", ""),
    Rule("value", r"^closed_v", "closed_w", "!value.closed_w", "no sheet entry"),
    Rule("value", r"^bias", "bais", "!value.bais", "no sheet entry"),
    Rule("value", r'"open at rest"', '"opened at rest"', "", "word"),
    Rule("value", r'"down"', '"sideways"', "", "word"),
    Rule("value", r'= \["(.*)$', r'= ["none", "none", "p. 1"]', ""),
    Rule("value", r"= \[.*", '= "4.8 V to 5.2 V"', ""),
    Rule("value", r'"600 rpm"', '"600 kPa"', "", "pressure"),
    Rule("value", r'"4\.8 V"', '"4,800 V"', ""),
    Rule("value", r'"4\.5 kohm"', '"45 000 kohm x"', ""),
    Rule("*", r"^(\w+ = \[.*)$", r"\1\n\1", "", "twice"),
    Rule("value", r"\]$", "", ""),
)

JOB = (
    Rule("", r'family = "small-engine"', 'family = "smal-engine"', "!family"),
    Rule("", r'^vehicle = .*', "vehicle = 12", "!vehicle"),
    Rule("", r'"4\.8 V"', '"4.8"', "!sheet.reference_v", "unit"),
    Rule("", r"reference_v", "referense_v", "!sheet.referense_v"),
    Rule("", r'^sheet = .*', 'sheet = "no-such-sheet.toml"', "!sheet"),
    Rule("complaint", r'"idles_high"', '"idles_hihg"', "!complaint.words.1"),
    Rule("complaint", r"^says", "say", "!complaint.say"),
    Rule("state", r'"hot"', '"warm"', ""),
    Rule("state", r"^plug", "plugg", "!state.plugg"),
    Rule("state", r'"plugged"', '"unplugged"', "", "tps.closed"),
    Rule("limits", r'"tachometer"', '"tacometer"', "!limits.tools.2"),
    Rule("limits", r"false", '"no"', ""),
    Rule("meter", r"percent = 0\.5", "percent = -0.5", "percent"),
    Rule("meter", r"percent", "precent", "precent"),
    Rule("meter", r'"1 mV"', '"1 mohm"', "resolution"),
    Rule("meter", r"^volt", "vlot", "!meter.m1.vlot"),
    Rule("code", r'"sensor_high"', '"sensor_hihg"', "!code.sensor_hihg.id", alone=True),
    Rule("code", r'"stored"', '"store"', ""),
    Rule("reading", r'^check = "([\w.]+)"', r'check = "\1x"', "", alone=True),
    Rule("reading", r'^value = "([\d.]+) \w+"', r'value = "\1"', "", "unit"),
    Rule("reading", r'^value = "([\d.]+) (m?V|rpm)"', r'value = "\1 ohm"', "", "resistance"),
    Rule("reading", r'^value = "([\d.]+) (m?V|rpm)"', r'value = "about right"', ""),
    Rule("reading", r'^value = "([\d.]+) (m?V|rpm)"', r"value = \1", ""),
    Rule("reading", r'^value = "wisp"', 'value = "wips"', "", "word"),
    Rule("reading", r'^value = "wisp"', 'value = "3 V"', "", "word"),
    Rule("reading", r"^value", "valu", ".valu"),
    Rule("reading", r'^(red|black) = "([\w.]+)"', r'\1 = "\2x"', ""),
    Rule("reading", r'^black = "chassis"', 'black = "tps.gnd.plug"', "", alone=True),
    Rule("reading", r'^function = "\w+"', 'function = "amps"', "", alone=True),
    Rule("reading", r'^meter = "m1"', 'meter = "m2"', ""),
    Rule("reading", r'throttle = "closed"', 'throttle = "shut"', "throttle"),
    Rule("reading", r"throttle = ", "trottle = ", "trottle"),
    Rule("reading", r'^check = "tps.closed"', 'check = "tps.closed"\nred = "chassis"', ".red"),
    Rule("reading", r'^(check = "tps.closed")', r'\1\nstate = { throttle = "wide" }',
         ".state.throttle", "closed"),
    Rule("reading", r'^function = "volt" # 5 V', 'function = "ohm"', "", "live", alone=True),
    Rule("reading", r'^id = "r[2-6]"', 'id = "r1"', "!reading.r1.id", "twice", alone=True),
    Rule("reading", r'^meter = "m1"', "struck = true", ".struck"),
    Rule("done", r'^repair = "([\w.]+)"', r'repair = "\1x"', ""),
    Rule("done", r'^after = "\w+"', 'after = "r9"', ""),
    Rule("done", r'^after = "r5"', 'after = "r3"', "", "later", alone=True),
    Rule("done", r"^after", "atfer", ".atfer"),
    Rule("*", r'"$', "", ""),
)  # fmt: skip

RULES = {
    "pot3.toml": (*COMMON, *FAMILY),
    "small-engine.toml": (*COMMON, *FAMILY),
    "estate.toml": (*COMMON, *SHEET),
    "job.toml": (*COMMON, *JOB),
}


def mistakes() -> list[Mistake]:
    """Every mistake of every rule, the same every time."""
    rng = random.Random(SEED)
    found: list[Mistake] = []
    for file in FILES:
        lines = _lines(file)
        for number, rule in enumerate(RULES[file]):
            fitting = _fitting(lines, rule)
            if len(fitting) > MOST_LINES:
                fitting = sorted(rng.sample(fitting, MOST_LINES), key=lambda e: e.number)
            found += [_spoilt(file, lines, number, rule, entry) for entry in fitting]
    return found


def combined(file: str, rng: random.Random, count: int) -> tuple[str, list[Mistake]]:
    """A file with several mistakes on different lines, none of which breaks the syntax.

    Rules that hang on another line (`alone`) are left out.
    """
    lines = _lines(file)
    rules = [r for r in RULES[file] if r.section not in ("*", "") and not r.alone]
    rng.shuffle(rules)
    found: list[Mistake] = []
    for rule in rules:
        taken = {mistake.line for mistake in found}
        fitting = [e for e in _fitting(lines, rule) if e.number + 1 not in taken]
        if not fitting:
            continue
        mistake = _spoilt(file, lines, 0, rule, rng.choice(fitting))
        changed = mistake.text.split("\n")
        if len(changed) == len(lines) and _parses(mistake.text):
            lines = changed
            found.append(mistake)
        if len(found) == count:
            break
    return "\n".join(lines), found


def _parses(text: str) -> bool:
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return True


def _lines(file: str) -> list[str]:
    return (FOLDER / file).read_text(encoding="utf-8").split("\n")


def _fitting(lines: list[str], rule: Rule) -> list[Entry]:
    return [
        entry
        for entry in entries(lines)
        if rule.section in (entry.section, "*") and re.search(rule.pattern, lines[entry.number])
    ]


def _spoilt(file: str, lines: list[str], number: int, rule: Rule, entry: Entry) -> Mistake:
    changed = re.sub(rule.pattern, rule.instead, lines[entry.number], count=1)
    return Mistake(
        name=f"{file.removesuffix('.toml')}:{entry.number + 1}-{rule.section or 'top'}{number}",
        file=file,
        text="\n".join([*lines[: entry.number], changed, *lines[entry.number + 1 :]]),
        line=entry.number + 1 + changed.count("\n"),
        key=_key(entry, rule),
        says=rule.says,
    )


def _key(entry: Entry, rule: Rule) -> str:
    """The whole key ("!…"), a sister of the line's own key (".…"), or a key below it."""
    if rule.key.startswith("!"):
        return rule.key[1:]
    if rule.key.startswith("."):
        return entry.key.rsplit(".", 1)[0] + rule.key
    return f"{entry.key}.{rule.key}" if rule.key else entry.key
