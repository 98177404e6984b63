"""A complete example of Idlewright's Python names, on an invented car."""

from idlewright import (
    CarState,
    IdlewrightError,
    Meter,
    Reading,
    compile_model,
    judge,
    load_family,
    load_job,
    load_sheet,
    open_car,
    predict,
    propose,
    schema,
)

family = load_family("plunger-carburettor")
sheet = load_sheet(
    {
        "format": 1,
        "id": "example",
        "family": family.id,
        "value": {
            "reference_v": ["4.8 V", "5.2 V", "p. 12"],
            "closed_v": ["0.47 V", "0.57 V", "p. 31"],
            "nose_sense": ["open at rest", "p. 33"],
            "signal_bias": ["down", "p. 40"],
        },
    },
    family,
)

# What would the closed-throttle signal be?
model = compile_model(family, sheet)
expected = predict(model, check="tps.signal.closed")
good = expected["checks"][0]["rows"][0]
print(f"good car, throttle closed: {good['low']:.2f} to {good['high']:.2f} V")

# Two readings, and what they mean.
readings = [
    Reading("r1", "4.98 V", check="tps.reference"),
    Reading("r2", "0.93 V", check="tps.signal.closed"),
]
state = CarState(family, {"engine": "hot", "key": "on"})
job = load_job(
    {
        "format": 1,
        "id": "example-1",
        "family": family.id,
        "vehicle": "an invented estate",
        "state": dict(state.known),
        "sheet": {"reference_v": ["4.8 V", "5.2 V", "p. 12"]},
        "reading": [reading.line() for reading in readings],
    }
)
answer = judge(job)
leader = answer["suspects"][0]
print(f"leader: {leader['title']}, {leader['odds_words']}")
print(f"next: {propose(job, depth='myopic')['say']}")

# The same on a practice car whose fault is known to nobody yet.
car = open_car(family, seed=4, sheet=sheet, model=model)
print(f"practice car, reference: {car.read('tps.reference', Meter('own'))}")

# Mistakes come back as sentences with their place.
try:
    CarState(family, {"engine": "warmish"})
except IdlewrightError as error:
    print(error)

print(f"answers follow {schema('judge')['$id']}")
