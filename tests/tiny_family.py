"""A tiny invented family for studies: one throttle sensor on three wires, seven checks."""

TINY = """
format = 1
id = "tiny"
say = "one throttle sensor on three wires"
[sheet]
reference_v = { say = "reference", unit = "V", usual = [4.8, 5.2] }
[state]
key = { is = ["off", "on"], minutes = 0.2 }
throttle = { is = ["closed", "wide"], minutes = 0.1 }
sensor = { is = ["plugged", "unplugged"], minutes = 1.5, needs = { key = "off" } }
computer = { is = ["plugged", "unplugged"], minutes = 12.0, needs = { key = "off" } }
[circuit]
zero = "chassis"
reference = { source = ["ref.c", "gnd.c"], volt = "sheet.reference_v", ohm = 1.0, live = { key = "on", computer = "plugged" } }
ref = { wire = ["ref.c", "ref.s"], ohm = 0.06, within = 0.6, through = ["computer", "sensor"] }
sig = { wire = ["sig.c", "sig.s"], ohm = 0.06, within = 0.6, through = ["computer", "sensor"], input_ohm = 1e6 }
gnd = { wire = ["gnd.c", "gnd.s"], ohm = 0.06, within = 0.6, through = ["computer", "sensor"], ends_at = "chassis" }
track = { slider = ["ref.s", "sig.s", "gnd.s"], ohm = 5000, within = 0.2, at = { closed = 0.10, wide = 0.90 }, contact_ohm = 50 }
[fault]
"set_high" = { say = "Set too high", shift = { "track.at.closed" = [0.02, 0.10], "track.at.wide" = [0.01, 0.05] }, weight = 4 }
"drifted" = { say = "Track drifted", times = { "track.ohm" = [1.35, 2.2] }, weight = 1 }
[check]
"closed" = { say = "closed", do = "Read it", read = "volt", red = "sig.sensor", black = "gnd.sensor", in = { key = "on" }, minutes = 1 }
"closed.ground" = { say = "closed to ground", do = "Read it", read = "volt", red = "sig.sensor", black = "chassis", in = { key = "on" }, minutes = 1 }
"wide" = { say = "wide", do = "Read it", read = "volt", red = "sig.sensor", black = "gnd.sensor", in = { key = "on", throttle = "wide" }, minutes = 1 }
"reference" = { say = "reference", do = "Read it", read = "volt", red = "ref.sensor", black = "gnd.sensor", in = { key = "on" }, minutes = 1 }
"track" = { say = "track", do = "Read it", read = "ohm", red = "ref.sensor.part", black = "gnd.sensor.part", in = { key = "off", sensor = "unplugged" }, minutes = 2 }
"joint" = { say = "joint", do = "Read it", read = "volt", red = "gnd.sensor.part", black = "gnd.sensor", in = { key = "on" }, minutes = 1 }
"pins" = { say = "look at the pins", do = "Look", read = "word", words = ["clean", "green"], shows = { "green" = { "gnd.sensor.poor" = 0.6, "ref.sensor.poor" = 0.6 } }, in = { key = "off", sensor = "unplugged" }, minutes = 2 }
[repair]
"set" = { say = "set the sensor", do = "Set it", cures = { "set_high" = 0.95 }, minutes = 15, in = { key = "on" }, prove = ["closed"] }
"sensor" = { say = "new sensor", do = "Replace it", cures = { "drifted" = 0.97, "set_high" = 0.9 }, renews = ["track"], minutes = 35, parts = [40, 90], in = { key = "off" }, prove = ["closed"] }
"""  # noqa: E501
